/* Frames: all or nothing, once, in order, however they come. */
#include "tests/unit/ingest/intake_fakes.h"

#include "collector/night/reader.h"

#define BOOT_A UINT64_C(0xA1)
#define BOOT_B UINT64_C(0xB2)
#define OFFSET_NS (T0_NS - 1000 * NS_PER_S) /* the node was up for 1000 s at T0 */

static const char hello_text[] =
    "{\"version\":1,\"boot\":\"%016llx\",\"software\":\"0.1.0\",\"channels\":["
    "{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":50,\"step\":\"1e-09\",\"offset\":\"0\"},"
    "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0,\"step\":\"1\",\"offset\":\"0\"}]}";

static void say_hello(uint64_t boot)
{
    char text[1024];
    (void)snprintf(text, sizeof text, hello_text, (unsigned long long)boot);
    send_text("roomwake/lodge/n2/hello", text);
}

static int32_t counts[50];
static uint8_t bytes[WIRE_MESSAGE_MAX];

/* Second `second` of the node: 50 samples of channel 0. */
static size_t make_frame(uint64_t boot, uint64_t seq, uint64_t oldest, int64_t second,
                         const struct clock_fit *fit)
{
    size_t length = 0;
    struct error error;
    struct frame frame = {.boot = boot,
                          .seq = seq,
                          .oldest_seq = oldest,
                          .until_node_ns = (1001 + second) * NS_PER_S,
                          .fit = *fit,
                          .block_count = 1};
    frame.blocks[0] = (struct block){.channel = 0,
                                     .count = 50,
                                     .t0_ns = (1000 + second) * NS_PER_S,
                                     .period_ps = PS_PER_S / 50,
                                     .counts = counts};
    if (wire_encode(&frame, bytes, sizeof bytes, &length, &error)) {
        fail_msg("%s", error.text);
    }
    return length;
}

static const struct clock_fit good_fit = {
    .known = true, .offset_ns = OFFSET_NS, .uncertainty_ns = 123456};

static void send_frame(uint64_t boot, uint64_t seq, uint64_t oldest, int64_t second)
{
    size_t length = make_frame(boot, seq, oldest, second, &good_fit);
    if (now_ns < T0_NS + (second + 1) * NS_PER_S) {
        now_ns = T0_NS + (second + 1) * NS_PER_S;
    }
    intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
}

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

static void steps_of_a_question_session_go_into_the_log_as_they_come(void **state)
{
    (void)state;
    send_text("roomwake/lodge/question",
              "{\"version\":1,\"session\":\"q-1\",\"what\":\"asked\",\"nth\":3,\"length_s\":20,"
              "\"text\":\"knock \\u0022twice\\u0022\"}");
    assert_string_equal(noted.log,
                        "question: {\"version\":1,\"session\":\"q-1\",\"what\":\"asked\","
                        "\"nth\":3,\"length_s\":20,\"text\":\"knock \\\"twice\\\"\"}");
    noted.log[0] = '\0';
    send_text("roomwake/lodge/question",
              "{\"version\":1,\"session\":\"q-1\",\"what\":\"guessed\",\"nth\":3,\"length_s\":20,"
              "\"text\":\"\"}");
    send_text("roomwake/lodge/question", "{\"version\":1,\"session\":\"../q\",\"what\":\"end\","
                                         "\"nth\":0,\"length_s\":0,\"text\":\"\"}");
    assert_string_equal(noted.log, "");
}

static void marks_are_numbered_stored_and_judged(void **state)
{
    (void)state;
    send_text("roomwake/lodge/mark", "{\"version\":1,\"text\":\"kettle\",\"room\":\"kitchen\"}");
    if (noted.mark_count != 1) {
        fail_msg("%s", noted.last_warning);
    }
    assert_int64_equal(noted.marks[0].id, 1);
    assert_int64_equal(noted.marks[0].start_ns, T0_NS);
    assert_int_equal(noted.mark_pushed, 1);
    send_text("roomwake/lodge/mark", "{\"version\":1,\"text\":\"x\",\"room\":\"cellar\"}");
    assert_int_equal(noted.mark_count, 1);
    assert_non_null(strstr(noted.last_warning, "cellar"));
}

static void refused_with(const char *json, const char *words)
{
    size_t before = noted.mark_count;
    send_text("roomwake/lodge/mark", json);
    assert_int_equal(noted.mark_count, before);
    if (!strstr(noted.said.error, words)) {
        fail_msg("\"%s\" has no \"%s\"", noted.said.error, words);
    }
}

static const struct mark *newest(void)
{
    return &noted.marks[noted.mark_count - 1];
}

static void a_running_mark_ends_by_a_further_row_and_the_original_stays(void **state)
{
    (void)state;
    send_text("roomwake/lodge/mark", "{\"text\":\"cooking\",\"room\":\"kitchen\",\"who\":\"eve\","
                                     "\"running\":true,\"ref\":\"a-1\"}");
    assert_string_equal(noted.said.ref, "a-1");
    assert_string_equal(noted.said.error, "");
    assert_int_equal(noted.said.number, 1);
    assert_int64_equal(newest()->end_ns, MARK_RUNNING_NS);
    now_ns += 90 * NS_PER_S;
    send_text("roomwake/lodge/mark", "{\"what\":\"end\",\"mark\":1}");
    assert_int_equal(noted.said.number, 1);
    assert_int64_equal(newest()->id, 2);
    assert_int64_equal(newest()->corrects, 1);
    assert_int64_equal(newest()->start_ns, T0_NS);
    assert_int64_equal(newest()->end_ns, T0_NS + 90 * NS_PER_S);
    assert_string_equal(newest()->text, "cooking");
    assert_int64_equal(noted.marks[0].end_ns, MARK_RUNNING_NS);
    assert_int_equal(noted.mark_pushed, 2);
    refused_with("{\"what\":\"end\",\"mark\":1}", "--correct 1 --for");
}

static void a_correction_changes_what_it_gives_and_nothing_else(void **state)
{
    (void)state;
    send_text("roomwake/lodge/mark", "{\"text\":\"walked\",\"room\":\"kitchen\",\"length_s\":20}");
    send_text("roomwake/lodge/mark", "{\"what\":\"correct\",\"mark\":1,\"room\":\"\"}");
    assert_int64_equal(newest()->corrects, 1);
    assert_string_equal(newest()->room, "");
    assert_string_equal(newest()->text, "walked");
    assert_int64_equal(newest()->end_ns, T0_NS + 20 * NS_PER_S);
    send_text("roomwake/lodge/mark",
              "{\"what\":\"correct\",\"mark\":1,\"start\":\"2024-03-01T21:59:50Z\"}");
    assert_int64_equal(newest()->end_ns - newest()->start_ns, 20 * NS_PER_S);
    send_text("roomwake/lodge/mark", "{\"what\":\"withdraw\",\"mark\":1}");
    assert_true(newest()->withdrawn);
    assert_int_equal(noted.mark_count, 4);
    refused_with("{\"what\":\"correct\",\"mark\":1,\"text\":\"x\"}", "make a new mark");
    refused_with("{\"what\":\"correct\",\"mark\":9,\"text\":\"x\"}", "no mark 9");
    send_text("roomwake/lodge/mark", "{\"text\":\"walked\"}");
    assert_int64_equal(newest()->id, 5);
    refused_with("{\"what\":\"correct\",\"mark\":5}", "nothing is corrected");
}

static void marks_that_cannot_be_are_refused_with_what_to_do(void **state)
{
    (void)state;
    refused_with("{\"text\":\"x\",\"start\":\"2024-03-01T23:00:00Z\"}", "still to come");
    refused_with("{\"text\":\"x\",\"start\":\"2024-03-01T20:00:00Z\"}", "before this night began");
    refused_with("{\"text\":\"x\",\"end\":\"2024-03-01T21:59:00Z\"}", "ends before it begins");
    refused_with("{\"text\":\"x\",\"end\":\"2024-03-01T21:59:00Z\",\"length_s\":3}", "only one of");
    refused_with("{\"text\":\"\"}", "say what was done");
    send_text("roomwake/lodge/mark", "{\"text\":\"a\",\"room\":\"kitchen\",\"who\":\"eve\","
                                     "\"running\":true}");
    refused_with("{\"text\":\"b\",\"room\":\"hall\",\"who\":\"eve\",\"length_s\":5}",
                 "roomwake mark --end 1");
    refused_with("{\"text\":\"b\",\"room\":\"kitchen\",\"who\":\"eve\",\"running\":true}",
                 "still runs");
    send_text("roomwake/lodge/mark",
              "{\"text\":\"b\",\"room\":\"hall\",\"who\":\"tom\",\"length_s\":60}");
    send_text("roomwake/lodge/mark",
              "{\"text\":\"c\",\"room\":\"kitchen\",\"who\":\"tom\",\"length_s\":60}");
    assert_int_equal(noted.mark_count, 3);
    assert_non_null(strstr(noted.said.note, "--correct 2 --for"));
}

static void a_quiet_spell_by_hand_counts_from_after_all_that_was_judged(void **state)
{
    (void)state;
    noted.reached_ns = T0_NS + 7 * NS_PER_S;
    noted.learning = 3;
    send_text("roomwake/lodge/baseline", "{\"what\":\"begin\",\"ref\":\"q\"}");
    assert_string_equal(noted.said.error, "");
    assert_int64_equal(noted.quiet.from_ns, noted.reached_ns + 1);
    assert_int64_equal(noted.log_time_ns, noted.quiet.from_ns);
    assert_string_equal(noted.log, "baseline: {\"what\":\"begin\",\"length_s\":0}");
    send_text("roomwake/lodge/baseline", "{\"what\":\"begin\"}");
    assert_non_null(strstr(noted.said.error, "let it go on"));
    send_text("roomwake/lodge/baseline", "{\"what\":\"end\"}");
    assert_non_null(strstr(noted.said.error, "of quiet so far"));
    now_ns += 40 * NS_PER_S;
    send_text("roomwake/lodge/baseline", "{\"what\":\"end\"}");
    assert_string_equal(noted.said.error, "");
    assert_true(noted.quiet.end);
    noted.learning = 0;
    send_text("roomwake/lodge/baseline", "{\"what\":\"end\"}");
    assert_non_null(strstr(noted.said.error, "roomwake baseline --begin"));
    assert_int_equal(noted.quiets, 2);
}

static void the_last_will_is_understood_and_stored(void **state)
{
    (void)state;
    send_text("roomwake/lodge/n1/state", "{\"version\":1,\"gone\":true}");
    assert_non_null(strstr(noted.state, "gone"));
    send_text("roomwake/lodge/n1/state", "{\"version\":1,\"gone\":");
    assert_int_equal(intake_get_counts(intake)->malformed, 1);
}

#define WITH_INTAKE(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

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
        WITH_INTAKE(gaps_are_named_by_their_cause),
        WITH_INTAKE(a_night_that_is_continued_goes_on_where_each_node_was),
        WITH_INTAKE(a_gap_that_an_earlier_recorder_told_is_not_told_again),
        WITH_INTAKE(a_boot_without_a_clock_is_stored_apart_and_named),
        WITH_INTAKE(what_the_pipeline_finds_too_late_is_stored_as_late),
        WITH_INTAKE(a_frame_is_judged_live_whole_or_not_at_all),
        WITH_INTAKE(a_clock_that_is_far_ahead_is_not_believed),
        WITH_INTAKE(a_node_that_lags_is_waited_for_no_longer_and_then_again),
        WITH_INTAKE(marks_are_numbered_stored_and_judged),
        WITH_INTAKE(a_running_mark_ends_by_a_further_row_and_the_original_stays),
        WITH_INTAKE(a_correction_changes_what_it_gives_and_nothing_else),
        WITH_INTAKE(marks_that_cannot_be_are_refused_with_what_to_do),
        WITH_INTAKE(a_quiet_spell_by_hand_counts_from_after_all_that_was_judged),
        WITH_INTAKE(steps_of_a_question_session_go_into_the_log_as_they_come),
        WITH_INTAKE(the_last_will_is_understood_and_stored),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
