/* What one boot leaves to the next: believed within its bounds, and once. */
#include "tests/unit/test.h"

#include "node/anew.h"

#define NAME "ROOMWAKE_NODE_ANEW"

static void somebody_s_start_knows_nothing(void **state)
{
    (void)state;
    struct anew anew;
    unsetenv(NAME);
    anew_take(&anew);
    assert_int_equal(anew_away_ns(&anew, 1000), 0);
    assert_string_equal(anew.why, "");
}

static void what_was_left_is_taken_once(void **state)
{
    (void)state;
    struct anew anew;
    setenv(NAME, "5000 0 the machine was suspended", 1);
    anew_take(&anew);
    assert_int_equal(anew_away_ns(&anew, 1000), 5000);
    assert_string_equal(anew.why, "the machine was suspended");
    assert_null(getenv(NAME));
    setenv(NAME, "0 700 drivers[1] iio was missing and came", 1);
    anew_take(&anew);
    assert_int_equal(anew_away_ns(&anew, 1000), 300);
    assert_string_equal(anew.why, "drivers[1] iio was missing and came");
}

static void nonsense_is_nothing(void **state)
{
    (void)state;
    static const char *const wrong[] = {"", "x", "-1 0 why", "0 -1 why", "9000000000000000 0 why",
                                        "7"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct anew anew;
        setenv(NAME, wrong[i], 1);
        anew_take(&anew);
        assert_int_equal(anew_away_ns(&anew, 1000), 0);
        assert_string_equal(anew.why, "");
    }
    const struct anew ahead = {.since_ns = 2000}; /* another clock */
    assert_int_equal(anew_away_ns(&ahead, 1000), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(somebody_s_start_knows_nothing),
        cmocka_unit_test(what_was_left_is_taken_once),
        cmocka_unit_test(nonsense_is_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
