/* Preflight and walk test, look by look over a night that is being written.
 * Must never know a terminal or a page. Run by ctest. */
#include "tests/unit/night/fixture.h"

#include "collector/record/preflight_watch.h"
#include "collector/record/walk_watch.h"

#define AT(seconds) (FIXTURE_START_NS + (int64_t)(seconds)*NS_PER_S)

static const char *words(void (*say)(const struct walk_watch *watch, struct text *out),
                         const struct walk_watch *watch, struct text *out)
{
    text_clear(out);
    say(watch, out);
    return out->bytes ? out->bytes : "";
}

static struct night_writer *begin_night(const struct fixture *fixture)
{
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_check(night_put_analysis(writer, 1, fixture->site, "live", &error), &error);
    return writer;
}

static void see(struct night_writer *writer, int64_t id, uint32_t node, int64_t onset_ns)
{
    struct error error;
    struct disturbance seen = {.id = id,
                               .node = node,
                               .quantity = QUANTITY_MAGNETIC,
                               .onset_ns = onset_ns,
                               .end_ns = onset_ns + NS_PER_S,
                               .peak_ns = onset_ns,
                               .peak_score = 9.0};
    (void)snprintf(seen.quantity_text, sizeof seen.quantity_text, "magnetic");
    fixture_check(night_put_disturbance(writer, 1, &seen, &error), &error);
    fixture_flush(writer);
}

static void look(struct walk_watch *watch, int64_t now_ns)
{
    struct error error;
    fixture_check(walk_watch_look(watch, now_ns, &error), &error);
}

static void a_walk_is_still_first_then_ticks_then_says_the_order(void **state)
{
    struct fixture *fixture = *state;
    struct night_writer *writer = begin_night(fixture);
    const struct walk_wishes wishes = {
        .site = fixture->site, .room_count = 2, .rooms = {0, 1}, .quiet_s = 30, .limit_s = 300};
    struct walk_watch *watch = NULL;
    struct text text = {0};
    struct error error;
    fixture_flush(writer);
    for (uint32_t node = 0; node < 2; node++) { /* of the spell before: not this one's */
        fixture_check(night_put_notice(writer, 1, node, "magnetic", AT(5), "learnt", &error),
                      &error);
    }
    fixture_flush(writer);
    fixture_check(walk_watch_new(&wishes, fixture->night, AT(10), &watch, &error), &error);
    look(watch, AT(41));
    assert_int_equal(walk_watch_stage(watch), WALK_QUIET);
    assert_int_equal(walk_watch_until_ns(watch), AT(40));
    assert_non_null(strstr(words(walk_watch_say, watch, &text), "Stand still for 30 s"));
    for (uint32_t node = 0; node < 2; node++) {
        fixture_check(night_put_notice(writer, 1, node, "magnetic", AT(41), "learnt", &error),
                      &error);
    }
    see(writer, 1, 0, AT(30)); /* before anybody was told to walk */
    look(watch, AT(42));
    assert_int_equal(walk_watch_stage(watch), WALK_WALKING);
    assert_non_null(strstr(words(walk_watch_say, watch, &text), "Now walk"));
    see(writer, 2, 0, AT(50));
    look(watch, AT(51));
    assert_int_equal(walk_watch_node(watch, 0)->seen_ns, AT(50));
    assert_int_equal(walk_watch_node(watch, 1)->seen_ns, 0);
    see(writer, 3, 1, AT(58));
    look(watch, AT(59));
    assert_int_equal(walk_watch_stage(watch), WALK_OVER);
    assert_true(walk_watch_is_good(watch));
    assert_non_null(strstr(words(walk_watch_report, watch, &text), "found:  hall, kitchen"));
    assert_non_null(strstr(words(walk_watch_say, watch, &text), "GO: every node saw you"));
    walk_watch_free(watch);
    text_free(&text);
    fixture_close(writer, 60);
}

static void a_walk_that_nobody_sees_is_over_at_its_limit(void **state)
{
    struct fixture *fixture = *state;
    struct night_writer *writer = begin_night(fixture);
    const struct walk_wishes wishes = {
        .site = fixture->site, .room_count = 2, .rooms = {0, 1}, .limit_s = 20};
    struct walk_watch *watch = NULL;
    struct text text = {0};
    struct error error;
    fixture_flush(writer);
    fixture_check(walk_watch_new(&wishes, fixture->night, AT(10), &watch, &error), &error);
    assert_int_equal(walk_watch_stage(watch), WALK_WALKING);
    look(watch, AT(29));
    assert_int_equal(walk_watch_stage(watch), WALK_WALKING);
    look(watch, AT(30));
    assert_int_equal(walk_watch_stage(watch), WALK_OVER);
    assert_false(walk_watch_is_good(watch));
    assert_non_null(strstr(words(walk_watch_say, watch, &text), "20 s for the walk are over"));
    assert_non_null(
        strstr(words(walk_watch_report, watch, &text), "n2 (kitchen) has seen nothing"));
    walk_watch_free(watch);
    text_free(&text);
    fixture_close(writer, 60);
}

static void a_walk_without_two_rooms_is_refused(void **state)
{
    struct fixture *fixture = *state;
    const struct walk_wishes wishes = {.site = fixture->site, .quiet_s = 30, .limit_s = 20};
    struct walk_watch *watch = NULL;
    struct error error;
    assert_int_equal(walk_watch_new(&wishes, fixture->night, AT(10), &watch, &error), -1);
    assert_error(error, ERROR_USAGE, "two rooms at least");
}

static void a_preflight_waits_for_the_absent_then_names_them(void **state)
{
    struct fixture *fixture = *state;
    struct night_writer *writer = begin_night(fixture);
    const struct preflight_wishes wishes = {
        .site = fixture->site, .night_s = 28800, .wait_s = 60, .look_s = 10};
    struct preflight_watch *watch = NULL;
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 60, 1);
    fixture_flush(writer);
    fixture_check(preflight_watch_new(&wishes, fixture->night, AT(0), &watch, &error), &error);
    assert_int_equal(preflight_watch_until_ns(watch), AT(60));
    fixture_check(preflight_watch_look(watch, AT(30), &error), &error);
    assert_true(preflight_watch_heard(watch, 0));
    assert_false(preflight_watch_heard(watch, 1));
    assert_false(preflight_watch_is_over(watch));
    fixture_check(preflight_watch_look(watch, AT(60), &error), &error);
    assert_true(preflight_watch_is_over(watch));
    assert_false(preflight_watch_is_go(watch));
    assert_false(preflight_watch_report(watch, 1)->go);
    assert_int_equal(preflight_watch_report(watch, 1)->lines[0].fault, PREFLIGHT_NOT_HEARD);
    assert_true(preflight_watch_base(watch)->go);
    preflight_watch_free(watch);
    fixture_close(writer, 60);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(a_walk_is_still_first_then_ticks_then_says_the_order),
        WITH_FIXTURE(a_walk_that_nobody_sees_is_over_at_its_limit),
        WITH_FIXTURE(a_walk_without_two_rooms_is_refused),
        WITH_FIXTURE(a_preflight_waits_for_the_absent_then_names_them),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
