/* Holes and their causes: restarts, an earlier recorder, clocks that are not known or not believed,
 * nodes that lag. Must never depend on a real clock. */
#include "tests/unit/ingest/intake_sender.h"

#include "collector/night/reader.h"

static void gaps_are_named_by_their_cause(void **state)
{
    (void)state;
    say_hello(BOOT_A);
    send_frame(BOOT_A, 1, 1, 0);
    send_frame(BOOT_A, 5, 5, 4); /* 2 to 4 given up */
    assert_int_equal(noted.gap_count, 1);
    assert_non_null(strstr(noted.gaps[0].reason, "spool overflow"));
    assert_int64_equal(noted.gaps[0].start_ns, T0_NS + INT64_C(980000000));
    assert_int64_equal(noted.gaps[0].end_ns, T0_NS + 4 * NS_PER_S);
    send_frame(BOOT_A, 6, 5, 8); /* seconds 5 to 7 were not sampled */
    assert_int_equal(noted.gap_count, 2);
    assert_string_equal(noted.gaps[1].reason, "sampling stopped: magnetic.x");
    say_hello(BOOT_B);
    send_frame(BOOT_B, 1, 1, 20);
    assert_int_equal(noted.gap_count, 3);
    assert_string_equal(noted.gaps[2].reason, "node restarted");
    struct error error;
    assert_int_equal(intake_finish(intake, T0_NS + 100 * NS_PER_S, &error), 0);
    assert_int_equal(noted.gap_count, 6); /* n2 silent, n1 and n3 never heard */
    assert_string_equal(noted.gaps[3].reason, "node never heard");
    assert_string_equal(noted.gaps[4].reason, "node silent: link or power");
}

static void a_night_that_is_continued_goes_on_where_each_node_was(void **state)
{
    (void)state;
    struct night_left left = {.boot_count = 2,
                              .boots = {{BOOT_B, 7}, {BOOT_A, 3}},
                              .clocked = true,
                              .last_ns = T0_NS + 10 * NS_PER_S,
                              .gap_start_ns = T0_NS + 2 * NS_PER_S,
                              .gap_end_ns = T0_NS + 3 * NS_PER_S};
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        left.channel_last_ns[i] = INT64_MIN;
    }
    left.channel_last_ns[0] = left.last_ns;
    intake_resume(intake, 1, &left);
    say_hello(BOOT_A);
    send_frame(BOOT_A, 3, 2, 3); /* both are in the night */
    say_hello(BOOT_B);
    send_frame(BOOT_B, 7, 6, 10);
    assert_int_equal(noted.frame_count, 0);
    assert_int_equal(intake_get_counts(intake)->duplicates, 2);
    send_frame(BOOT_B, 10, 10, 14); /* 8 and 9 were given up while nobody recorded */
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(noted.gap_count, 1);
    assert_non_null(strstr(noted.gaps[0].reason, "2 frames given up"));
    assert_int64_equal(noted.gaps[0].start_ns, left.last_ns);
    assert_int64_equal(noted.gaps[0].end_ns, T0_NS + 14 * NS_PER_S);
}

static void a_gap_that_an_earlier_recorder_told_is_not_told_again(void **state)
{
    (void)state;
    const uint64_t boot_c = 0xC3;
    struct night_left left = {.boot_count = 1,
                              .boots = {{BOOT_A, 3}},
                              .clocked = true,
                              .last_ns = T0_NS + 10 * NS_PER_S,
                              .gap_start_ns = T0_NS + 10 * NS_PER_S,
                              .gap_end_ns = T0_NS + 20 * NS_PER_S + 1000};
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        left.channel_last_ns[i] = INT64_MIN;
    }
    intake_resume(intake, 1, &left);
    say_hello(BOOT_B);
    send_frame(BOOT_B, 1, 1, 20);
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(noted.gap_count, 0);
    say_hello(boot_c);
    send_frame(boot_c, 1, 1, 30);
    assert_int_equal(noted.gap_count, 1);
    assert_string_equal(noted.gaps[0].reason, "node restarted");
}

static void a_boot_without_a_clock_is_stored_apart_and_named(void **state)
{
    (void)state;
    const struct clock_fit none = {.known = false};
    say_hello(BOOT_A);
    size_t length = make_frame(BOOT_A, 1, 1, 0, &none);
    intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
    assert_int_equal(noted.frame_count, 1);
    assert_true(noted.frames[0].late);
    assert_false(noted.frames[0].clock_known);
    assert_int64_equal(noted.frames[0].first_ns, 1000 * NS_PER_S); /* the node's own time */
    assert_int_equal(noted.push_count, 0);
    say_hello(BOOT_B);
    send_frame(BOOT_B, 1, 1, 30);
    assert_int64_equal(noted.pushed_first[0], T0_NS + 30 * NS_PER_S);
}

static void a_clock_that_is_far_ahead_is_not_believed(void **state)
{
    (void)state;
    struct clock_fit ahead = good_fit;
    ahead.offset_ns += 3600 * NS_PER_S;
    say_hello(BOOT_A);
    size_t length = make_frame(BOOT_A, 1, 1, 0, &ahead);
    intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
    assert_int_equal(noted.frame_count, 1);
    assert_true(noted.frames[0].late);
    send_frame(BOOT_A, 2, 1, 1);
    assert_false(noted.frames[1].late);
    assert_int64_equal(noted.frames[1].first_ns, T0_NS + NS_PER_S);
}

static void a_node_that_lags_is_waited_for_no_longer_and_then_again(void **state)
{
    (void)state;
    say_hello(BOOT_A);
    send_frame(BOOT_A, 1, 1, 0);
    intake_tick(intake);
    assert_int_equal(noted.waited_changes, 0); /* it is from its first advance on */
    now_ns += INTAKE_WAIT_NS + NS_PER_S;
    intake_tick(intake);
    intake_tick(intake);
    assert_false(noted.waited_for[1]);
    assert_int_equal(noted.waited_changes, 1);
    send_frame(BOOT_A, 2, 1, 1); /* still far behind */
    assert_false(noted.waited_for[1]);
    send_frame(BOOT_A, 3, 1, 10);
    assert_true(noted.waited_for[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_INTAKE(gaps_are_named_by_their_cause),
        WITH_INTAKE(a_night_that_is_continued_goes_on_where_each_node_was),
        WITH_INTAKE(a_gap_that_an_earlier_recorder_told_is_not_told_again),
        WITH_INTAKE(a_boot_without_a_clock_is_stored_apart_and_named),
        WITH_INTAKE(a_clock_that_is_far_ahead_is_not_believed),
        WITH_INTAKE(a_node_that_lags_is_waited_for_no_longer_and_then_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
