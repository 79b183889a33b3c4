/* Stretches without samples: found, bounded, and named by their cause. */
#include "tests/unit/test.h"

#include "collector/ingest/gaps.h"
#include "common/clock.h"

static struct gap_frame frame_at(int64_t from_s)
{
    return (struct gap_frame){.clock_known = true,
                              .first_ns = from_s * NS_PER_S,
                              .last_ns = from_s * NS_PER_S + NS_PER_S / 2};
}

static void frames_that_follow_each_other_or_come_late_are_no_gap(void **state)
{
    (void)state;
    struct gap_watch watch;
    struct gap gap;
    gap_watch_init(&watch, 3);
    for (int i = 0; i < 4; i++) {
        struct gap_frame frame = frame_at(i);
        assert_false(gap_watch_frame(&watch, &frame, &gap));
    }
}

static void each_cause_has_its_name_and_its_ends(void **state)
{
    (void)state;
    struct gap_watch watch;
    struct gap gap;
    gap_watch_init(&watch, 3);
    struct gap_frame frame = frame_at(0);
    (void)gap_watch_frame(&watch, &frame, &gap);
    frame = frame_at(10);
    frame.lost = 9;
    assert_true(gap_watch_frame(&watch, &frame, &gap));
    assert_int_equal(gap.node, 3);
    assert_int64_equal(gap.start_ns, NS_PER_S / 2);
    assert_int64_equal(gap.end_ns, 10 * NS_PER_S);
    assert_string_equal(gap.reason, "spool overflow on the node: 9 frames given up");
    frame = frame_at(20);
    frame.new_boot = true;
    assert_true(gap_watch_frame(&watch, &frame, &gap));
    assert_string_equal(gap.reason, "node restarted");
    assert_int64_equal(gap.start_ns, 10 * NS_PER_S + NS_PER_S / 2);
    frame = frame_at(30);
    frame.new_boot = true;
    frame.why = "the machine was suspended for 9 s";
    assert_true(gap_watch_frame(&watch, &frame, &gap));
    assert_string_equal(gap.reason, "node restarted: the machine was suspended for 9 s");
}

static void a_boot_that_never_had_the_time_is_named_when_the_next_one_has(void **state)
{
    (void)state;
    struct gap_watch watch;
    struct gap gap;
    gap_watch_init(&watch, 0);
    struct gap_frame frame = frame_at(0);
    (void)gap_watch_frame(&watch, &frame, &gap);
    struct gap_frame unclocked = {.clock_known = false, .new_boot = true, .first_ns = 5};
    assert_false(gap_watch_frame(&watch, &unclocked, &gap));
    frame = frame_at(30);
    frame.new_boot = true;
    assert_true(gap_watch_frame(&watch, &frame, &gap));
    assert_non_null(strstr(gap.reason, "clock never known"));
    assert_int64_equal(gap.end_ns, 30 * NS_PER_S);
}

static void a_channel_that_stands_still_is_named(void **state)
{
    (void)state;
    struct error error;
    struct channel channel;
    struct gap gap;
    assert_int_equal(channel_init(&channel, "magnetic.x", NULL, 50, &error), 0);
    assert_false(gap_between(1, &channel, 0, 20000000, &gap));
    assert_false(gap_between(1, &channel, 0, 79000000, &gap));
    assert_true(gap_between(1, &channel, 0, 81000000, &gap));
    assert_string_equal(gap.reason, "sampling stopped: magnetic.x");
    assert_false(gap_between(1, &channel, INT64_MIN, 81000000, &gap)); /* nothing before */
    assert_int_equal(channel_init(&channel, "motion", NULL, 0, &error), 0);
    assert_false(gap_between(1, &channel, 0, 3600 * NS_PER_S, &gap)); /* tells changes only */
}

static void the_end_of_the_night_names_the_silent(void **state)
{
    (void)state;
    struct gap_watch watch;
    struct gap gap;
    gap_watch_init(&watch, 2);
    assert_true(gap_watch_finish(&watch, 0, 100 * NS_PER_S, &gap));
    assert_string_equal(gap.reason, "node never heard");
    struct gap_frame frame = frame_at(50);
    (void)gap_watch_frame(&watch, &frame, &gap);
    assert_true(gap_watch_finish(&watch, 0, 100 * NS_PER_S, &gap));
    assert_string_equal(gap.reason, "node silent: link or power");
    assert_int64_equal(gap.start_ns, 50 * NS_PER_S + NS_PER_S / 2);
    assert_false(gap_watch_finish(&watch, 0, 53 * NS_PER_S, &gap));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(frames_that_follow_each_other_or_come_late_are_no_gap),
        cmocka_unit_test(each_cause_has_its_name_and_its_ends),
        cmocka_unit_test(a_boot_that_never_had_the_time_is_named_when_the_next_one_has),
        cmocka_unit_test(a_channel_that_stands_still_is_named),
        cmocka_unit_test(the_end_of_the_night_names_the_silent),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
