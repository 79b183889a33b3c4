/* The arguments of a page's question: what is within bounds, and that all else is refused.
 * Must never be softened: these come from whoever reaches the port. Run by ctest. */
#include "tests/unit/test.h"

#include "collector/web/query.h"

static void take(struct web_query *query, const char *name, const char *value, bool good)
{
    struct error error;
    assert_int_equal(web_query_take(query, name, value, &error), good ? 0 : -1);
}

static void numbers_and_lanes_are_taken(void **state)
{
    (void)state;
    struct web_query query;
    web_query_init(&query);
    take(&query, "from", "-5", true);
    take(&query, "to", "28800000000000", true);
    take(&query, "id", "7", true);
    take(&query, "px", "2048", true);
    take(&query, "lane", "n-hall/magnetic.x", true);
    assert_int_equal(query.from_ns, -5);
    assert_int_equal(query.to_ns, INT64_C(28800000000000));
    assert_int_equal(query.id, 7);
    assert_int_equal(query.pixels, 2048);
    assert_string_equal(query.lanes[0].node, "n-hall");
    assert_string_equal(query.lanes[0].channel, "magnetic.x");
}

static void what_is_out_of_bounds_is_refused(void **state)
{
    (void)state;
    static const char *const bad[][2] = {
        {"from", ""},
        {"from", " 1"},
        {"from", "1x"},
        {"to", "1e9"},
        {"to", "99999999999999999999"},
        {"from", "9223372036854775807"},
        {"id", "0"},
        {"px", "0"},
        {"px", "2049"},
        {"px", "-1"},
        {"lane", ""},
        {"lane", "/"},
        {"lane", "n1"},
        {"lane", "n1/"},
        {"lane", "/magnetic"},
        {"lane", "n1/a/b"},
        {"lane", "N1/x"},
        {"lane", "n1%2fx"},
        {"lane", "../../etc/passwd"},
        {"what", "1"},
        {"", ""},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct web_query query;
        web_query_init(&query);
        take(&query, bad[i][0], bad[i][1], false);
    }
}

static void more_lanes_than_the_bound_are_refused(void **state)
{
    (void)state;
    struct web_query query;
    web_query_init(&query);
    for (unsigned i = 0; i < WEB_LANES_MAX; i++) {
        take(&query, "lane", "n1/motion", true);
    }
    take(&query, "lane", "n1/motion", false);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_and_lanes_are_taken),
        cmocka_unit_test(what_is_out_of_bounds_is_refused),
        cmocka_unit_test(more_lanes_than_the_bound_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
