/* Frames: all or nothing, once, in order, however they come. */
#include "tests/unit/ingest/intake_sender.h"

static void a_node_that_keeps_utc_is_led_on_to_the_site_s_time(void **state)
{
    (void)state;
    struct clock_fit utc = good_fit;
    utc.utc = true;
    utc.offset_ns -= NS_PER_S;
    utc.uncertainty_ns = 3000000;
    say_hello(BOOT_A);
    size_t length = make_frame(BOOT_A, 1, 1, 0, &utc);
    now_ns = T0_NS + NS_PER_S;
    intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
    assert_int_equal(noted.frame_count, 1);
    assert_int64_equal(noted.frames[0].first_ns, T0_NS);
    assert_int64_equal(noted.clock_sds[0], 5000000);
    send_text("roomwake/lodge/n2/state",
              "{\"version\":1,\"boot\":\"00000000000000a1\",\"gone\":false,\"clock\":"
              "{\"ref_node_ns\":\"0\",\"offset_ns\":\"5\",\"rate_ppt\":\"0\","
              "\"uncertainty_ns\":\"3000000\",\"growth_ppb\":\"0\",\"utc\":true},"
              "\"exchange_age_ns\":\"-1\",\"round_trip_ns\":\"-1\",\"spool\":{\"frames\":0,"
              "\"bytes\":0,\"dropped\":0,\"room\":0},\"note\":\"\"}");
    assert_non_null(strstr(noted.state, "\"offset_ns\":\"1000000005\""));
    assert_non_null(strstr(noted.state, "\"uncertainty_ns\":\"5000000\""));
    assert_null(strstr(noted.state, "utc"));
}

static void a_frame_goes_to_the_night_and_the_pipeline_in_site_time(void **state)
{
    (void)state;
    say_hello(BOOT_A);
    send_frame(BOOT_A, 1, 1, 0);
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(noted.frames[0].id.node, 1);
    assert_int_equal(noted.frames[0].id.seq, 1);
    assert_int64_equal(noted.frames[0].first_ns, T0_NS);
    assert_int64_equal(noted.frames[0].node_t0_ns, 1000 * NS_PER_S);
    assert_false(noted.frames[0].late);
    assert_int_equal(noted.push_count, 1);
    assert_int64_equal(noted.advanced_ns[1], T0_NS + NS_PER_S);
    assert_int_equal(noted.clock_count, 1);
    assert_int64_equal(noted.clock_sds[0], 130000); /* rounded up to two digits */
    send_frame(BOOT_A, 2, 1, 1);
    assert_int_equal(noted.clock_count, 1); /* on change only */
    assert_int_equal(noted.channels_put, 1);
    assert_int_equal(intake_get_counts(intake)->samples, 100);
    assert_int_equal(noted.gap_count, 0);
}

static void a_frame_sent_twice_is_stored_once(void **state)
{
    (void)state;
    say_hello(BOOT_A);
    send_frame(BOOT_A, 1, 1, 0);
    send_frame(BOOT_A, 1, 1, 0);
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(noted.push_count, 1);
    assert_int_equal(intake_get_counts(intake)->duplicates, 1);
}

static void a_frame_over_a_hole_is_refused_until_the_hole_is_filled(void **state)
{
    (void)state;
    say_hello(BOOT_A);
    send_frame(BOOT_A, 1, 1, 0);
    send_frame(BOOT_A, 3, 1, 2);
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(intake_get_counts(intake)->ahead, 1);
    send_frame(BOOT_A, 2, 1, 1);
    send_frame(BOOT_A, 3, 1, 2);
    assert_int_equal(noted.frame_count, 3);
    for (size_t i = 1; i < noted.push_count; i++) {
        assert_true(noted.pushed_first[i] > noted.pushed_last[i - 1]);
    }
}

static void without_a_hello_frames_are_refused_with_one_line(void **state)
{
    (void)state;
    send_frame(BOOT_A, 1, 1, 0);
    send_frame(BOOT_A, 1, 1, 0);
    assert_int_equal(noted.frame_count, 0);
    assert_int_equal(intake_get_counts(intake)->no_hello, 2);
    assert_int_equal(noted.warnings, 1);
    assert_non_null(strstr(noted.last_warning, "n2"));
    say_hello(BOOT_A);
    send_frame(BOOT_A, 1, 1, 0);
    assert_int_equal(noted.frame_count, 1);
}

static void a_boot_whose_hello_is_gone_is_read_by_the_newest_after_a_while(void **state)
{
    (void)state;
    say_hello(BOOT_B);
    send_frame(BOOT_A, 7, 7, 0);
    assert_int_equal(noted.frame_count, 0);
    now_ns += 10 * NS_PER_S;
    send_frame(BOOT_A, 7, 7, 0);
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(noted.channels_boot, BOOT_A);
}

static void flipped_cut_and_foreign_bytes_are_counted_and_nothing_is_stored(void **state)
{
    (void)state;
    say_hello(BOOT_A);
    size_t length = make_frame(BOOT_A, 1, 1, 0, &good_fit);
    static uint8_t whole[WIRE_MESSAGE_MAX];
    memcpy(whole, bytes, length);
    for (size_t i = 0; i < length; i++) {
        memcpy(bytes, whole, length);
        bytes[i] ^= 0x10;
        intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
        intake_message(intake, "roomwake/lodge/n2/blocks", whole, i);
    }
    assert_int_equal(noted.frame_count, 0);
    assert_int_equal(noted.push_count, 0);
    assert_int_equal(noted.channels_put, 0);
    assert_int_equal(noted.warnings, 1); /* the rest is kept back */
    /* an empty message is one that was taken back, not a cut one */
    assert_int_equal(intake_get_counts(intake)->malformed, 2 * length - 1);
}

static void unknown_nodes_sites_and_topics_are_refused(void **state)
{
    (void)state;
    send_text("roomwake/lodge/n9/blocks", "x");
    assert_non_null(strstr(noted.last_warning, "n9"));
    send_text("roomwake/other/n1/blocks", "x");
    send_text("roomwake/lodge/n1/nonsense", "x");
    assert_int_equal(intake_get_counts(intake)->unknown_node, 3);
    assert_int_equal(noted.warnings, 1);
    send_text("roomwake/lodge/n1/stored", "{}"); /* our own */
    assert_int_equal(intake_get_counts(intake)->malformed, 0);
}

static void a_full_queue_refuses_the_frame_and_tells_nothing_twice(void **state)
{
    (void)state;
    for (int after = 0; after < 4; after++) {
        assert_int_equal(teardown(state) + setup(state), 0);
        say_hello(BOOT_A);
        send_frame(BOOT_A, 1, 1, 0);
        size_t puts = noted.frame_count + noted.gap_count + noted.clock_count;
        noted.full_after = after;
        say_hello(BOOT_B);
        struct clock_fit other = good_fit;
        other.uncertainty_ns = 777777;
        for (int i = 0; i < 2; i++) { /* the node sends it again */
            size_t length = make_frame(BOOT_B, 1, 1, 60, &other);
            now_ns = T0_NS + 61 * NS_PER_S;
            intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
        }
        assert_int_equal(intake_get_counts(intake)->full, 1);
        assert_int_equal(noted.channels_put, 2);
        assert_int_equal(noted.gap_count, 1);
        assert_int_equal(noted.push_count, 2);
        assert_int64_equal(noted.pushed_first[1], T0_NS + 60 * NS_PER_S);
        assert_int_equal(noted.frame_count + noted.gap_count + noted.clock_count, puts + 3);
        assert_int64_equal(noted.frames[1].first_ns, T0_NS + 60 * NS_PER_S);
    }
}

static void what_the_pipeline_finds_too_late_is_stored_as_late(void **state)
{
    (void)state;
    say_hello(BOOT_A);
    noted.horizon_ns = T0_NS + 2 * NS_PER_S;
    for (int i = 0; i < 4; i++) {
        send_frame(BOOT_A, (uint64_t)i + 1, 1, i);
    }
    assert_int_equal(noted.frame_count, 4);
    assert_true(noted.frames[0].late && noted.frames[1].late);
    assert_false(noted.frames[2].late || noted.frames[3].late);
    assert_int_equal(intake_get_counts(intake)->late, 2);
}

static void a_frame_is_judged_live_whole_or_not_at_all(void **state)
{
    (void)state;
    struct error error;
    size_t length = 0;
    const int64_t moved_ns[] = {1000 * NS_PER_S + 700000000};
    const int32_t one[] = {1};
    struct frame frame = {.boot = BOOT_A,
                          .seq = 1,
                          .oldest_seq = 1,
                          .until_node_ns = 1001 * NS_PER_S,
                          .fit = good_fit,
                          .block_count = 2};
    frame.blocks[0] = (struct block){
        .channel = 1, .count = 1, .t0_ns = moved_ns[0], .times_ns = moved_ns, .counts = one};
    frame.blocks[1] = (struct block){.channel = 0,
                                     .count = 50,
                                     .t0_ns = 1000 * NS_PER_S,
                                     .period_ps = PS_PER_S / 50,
                                     .counts = counts};
    assert_int_equal(wire_encode(&frame, bytes, sizeof bytes, &length, &error), 0);
    say_hello(BOOT_A);
    now_ns = T0_NS + NS_PER_S;
    noted.horizon_ns = T0_NS + 500000000; /* between the two blocks' first samples */
    intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
    assert_true(noted.frames[0].late);
    assert_int_equal(noted.push_count, 0);
}

static void the_last_will_is_understood_and_stored(void **state)
{
    (void)state;
    send_text("roomwake/lodge/n1/state", "{\"version\":1,\"gone\":true}");
    assert_non_null(strstr(noted.state, "gone"));
    send_text("roomwake/lodge/n1/state", "{\"version\":1,\"gone\":");
    assert_int_equal(intake_get_counts(intake)->malformed, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_INTAKE(a_frame_goes_to_the_night_and_the_pipeline_in_site_time),
        WITH_INTAKE(a_node_that_keeps_utc_is_led_on_to_the_site_s_time),
        WITH_INTAKE(a_frame_sent_twice_is_stored_once),
        WITH_INTAKE(a_frame_over_a_hole_is_refused_until_the_hole_is_filled),
        WITH_INTAKE(without_a_hello_frames_are_refused_with_one_line),
        WITH_INTAKE(a_boot_whose_hello_is_gone_is_read_by_the_newest_after_a_while),
        WITH_INTAKE(flipped_cut_and_foreign_bytes_are_counted_and_nothing_is_stored),
        WITH_INTAKE(unknown_nodes_sites_and_topics_are_refused),
        WITH_INTAKE(a_full_queue_refuses_the_frame_and_tells_nothing_twice),
        WITH_INTAKE(what_the_pipeline_finds_too_late_is_stored_as_late),
        WITH_INTAKE(a_frame_is_judged_live_whole_or_not_at_all),
        WITH_INTAKE(the_last_will_is_understood_and_stored),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
