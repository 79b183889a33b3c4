/* A board's frames as samples on the host's clock, with everything a line may do to them.
 * Must never need a line. Run by ctest. */
#include "tests/unit/test.h"

#include "node/drivers/serial_board.h"

#define HOST_NS INT64_C(5000000000)

static struct serial_board board;
static struct {
    size_t samples;
    int64_t last_ns;
    int64_t worst_ns; /* off the truth */
    int64_t settled_worst_ns;
    size_t holes;
    char reason[HOLE_REASON_SIZE];
    int64_t hole_ns;
    int32_t last_count;
    size_t highs;
    int32_t high;
    int64_t high_ns;
    size_t motions;
} got;
static double rate;   /* of the board's crystal, against the host's */
static uint64_t tick; /* of the next frame */
static uint64_t first_tick;
static uint16_t seq;
static int64_t came_ns; /* the last frame */

static int64_t truth_ns(uint64_t at)
{
    return HOST_NS + (int64_t)((double)(at - first_tick) * 4000.0 / rate);
}

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    (void)context;
    assert_int_equal(channel, 0);
    struct block run = {.t0_ns = t0_ns, .period_ps = period_ps};
    for (size_t i = 0; i < count; i++) {
        int64_t time_ns = block_time_ns(&run, (uint32_t)i);
        int64_t off_ns = llabs(time_ns - truth_ns(tick + 250 * i));
        /* Never closer than half a period, whatever the clock learns: not to the nanosecond. */
        assert_true(got.samples == 0 || time_ns - got.last_ns >= 480000);
        got.worst_ns = off_ns > got.worst_ns ? off_ns : got.worst_ns;
        bool settled = truth_ns(tick) - HOST_NS > 300 * NS_PER_S;
        got.settled_worst_ns =
            settled && off_ns > got.settled_worst_ns ? off_ns : got.settled_worst_ns;
        got.last_ns = time_ns;
        got.last_count = counts[i];
        got.samples++;
    }
}

static void on_change(void *context, size_t channel, int64_t time_ns, int32_t count)
{
    (void)context;
    if (channel == 1) {
        got.highs++;
        got.high = count > got.high ? count : got.high;
        got.high_ns = count == got.high ? time_ns : got.high_ns;
    } else {
        got.motions++;
    }
}

static void on_hole(void *context, size_t channel, int64_t start_ns, int64_t end_ns,
                    const char *reason)
{
    (void)context;
    (void)channel;
    got.holes++;
    got.hole_ns = end_ns - start_ns;
    snprintf(got.reason, sizeof got.reason, "%s", reason);
}

static const struct driver_sink sink = {NULL, on_samples, on_change, on_hole};

static void start(double crystal_ppm)
{
    struct error error;
    struct board_setup setup = {
        .baud = 500000, .resonator_ppb = 6000000, .latency_most_ns = 16000000};
    for (size_t i = 0; i < BOARD_CHANNELS; i++) {
        setup.channels[i] = BOARD_ABSENT;
    }
    setup.channels[BOARD_ELECTRIC] = 0;
    setup.channels[BOARD_HIGH] = 1;
    setup.channels[BOARD_MOTION] = 2;
    memset(&got, 0, sizeof got);
    rate = 1.0 + crystal_ppm * 1e-6;
    first_tick = tick = UINT64_C(0xfff00000); /* soon over the counter's end */
    seq = 65000;
    assert_int_equal(serial_board_init(&board, &setup, HOST_NS, &error), 0);
}

/* One frame of 32 samples that comes `late_ns` after it was made; `told`: it arrives at all. */
static void send_frame(int64_t late_ns, bool told)
{
    struct error error;
    struct report report = {.kind = REPORT_SAMPLES, .seq = seq++, .tick = (uint32_t)tick};
    report.as.samples.count = REPORT_BATCH;
    for (unsigned i = 0; i < REPORT_BATCH; i++) {
        report.as.samples.values[i] = (uint16_t)((tick / 250 + i) % 1000);
    }
    report.as.samples.high = 999;
    report.as.samples.high_at = 100;
    came_ns = truth_ns(tick + 250 * REPORT_BATCH + 32) + 1760000 + late_ns;
    if (told) {
        assert_int_equal(serial_board_take(&board, &report, came_ns, 88, &sink, &error), 0);
    }
    tick += 250 * REPORT_BATCH;
}

/* A question that waits as long there as back, and what the poll adds. */
static void ask(int64_t there_ns, int64_t back_ns)
{
    struct error error;
    struct report question;
    int64_t now_ns = came_ns + 500000;
    uint64_t there = first_tick + (uint64_t)((double)(now_ns + there_ns - HOST_NS) / 4000.0 * rate);
    serial_board_ask(&board, now_ns, &question);
    struct report answer = {.kind = REPORT_ANSWER, .seq = seq++};
    answer.as.answer = question.as.answer;
    answer.tick = (uint32_t)there;
    assert_int_equal(
        serial_board_take(&board, &answer, now_ns + there_ns + back_ns + 260000, 13, &sink, &error),
        0);
}

static void a_resonator_half_a_percent_off_is_within_a_millisecond_after_five_minutes(void **state)
{
    (void)state;
    for (int sign = -1; sign <= 1; sign += 2) {
        unsigned draw = 9;
        start(sign * 5000.0);
        for (int frame = 0; frame < 320 * 1000 / 32; frame++) {
            draw = draw * 1103515245u + 12345u;
            send_frame((int64_t)((draw >> 8) % 4000000u), true); /* polls each 4 ms */
            if (frame % 31 == 0) {
                ask(300000 + (draw >> 4) % 200000u, 300000 + (draw >> 9) % 900000u);
            }
        }
        assert_int_equal(got.samples, 320 * 1000);
        assert_int_equal(got.holes, 0);
        print_message("%+d ppm: off by %.3f ms at the most after 5 minutes, %.3f ms before\n",
                      sign * 5000, (double)got.settled_worst_ns / 1e6, (double)got.worst_ns / 1e6);
        assert_true(got.settled_worst_ns > 0 && got.settled_worst_ns < 1000000);
        /* What it says of its own clock holds that, at 99 %. */
        assert_true(board.clock_sd_ns > 0 && board.clock_sd_ns < 2000000);
        assert_true(got.settled_worst_ns * 100 <= board.clock_sd_ns * CLOCK_FIT_BOUND_PERCENT);
    }
}

static void lost_frames_are_a_hole_with_its_cause_and_nothing_is_bridged(void **state)
{
    (void)state;
    start(40.0);
    for (int i = 0; i < 100; i++) {
        send_frame(100000, i != 50 && i != 51);
        if (i == 51) {
            serial_board_bad(&board);
        }
    }
    assert_int_equal(got.samples, 98 * 32);
    assert_int_equal(got.holes, 1);
    assert_string_equal(got.reason, "line: 2 frames lost (damaged bytes)");
    assert_close(got.hole_ns, 65e6, 1e6);
}

/* A host that was held up hears its first words late, by more than a counter could explain. */
static void a_clock_that_was_ahead_is_taken_back_and_no_sample_is_lost_or_missed(void **state)
{
    (void)state;
    for (int64_t late_ns = 3000000; late_ns < 400000000; late_ns = late_ns * 3 / 2) {
        start(-5000.0);
        int64_t wait_ns = late_ns;
        for (int i = 0; i < 900; i++) {
            wait_ns = wait_ns > 30000000 ? wait_ns - 30000000 : 0;
            send_frame(i < 3 ? late_ns : wait_ns, true);
        }
        assert_int_equal(got.samples, 900 * 32);
        assert_int_equal(got.holes, 0);
        /* One way alone leaves half of what even the quickest word may wait, 16 ms. */
        assert_close(got.last_ns - truth_ns(tick - 250), -8e6, 1e6);
    }
}

static void a_board_that_starts_again_says_why_and_begins_a_new_line(void **state)
{
    (void)state;
    struct error error;
    start(40.0);
    struct report hello = {.kind = REPORT_HELLO, .tick = (uint32_t)tick, .seq = seq++};
    hello.as.hello = (struct report_hello){.version = REPORT_VERSION,
                                           .tick_hz = REPORT_TICK_HZ,
                                           .sample_ticks = REPORT_SAMPLE_TICKS,
                                           .start = 7};
    assert_int_equal(serial_board_take(&board, &hello, HOST_NS, 25, &sink, &error), 0);
    for (int i = 0; i < 200; i++) {
        send_frame(100000, true);
    }
    came_ns = got.last_ns + NS_PER_S;
    hello.tick = 10;
    hello.seq = 0;
    hello.as.hello.start = 8;
    hello.as.hello.reset = RESET_WATCHDOG;
    assert_int_equal(serial_board_take(&board, &hello, came_ns, 25, &sink, &error), 0);
    first_tick = tick = 500;
    seq = 1;
    struct report samples = {.kind = REPORT_SAMPLES, .seq = 1, .tick = 500};
    samples.as.samples.count = 32;
    got.worst_ns = 0;
    assert_int_equal(serial_board_take(&board, &samples, came_ns + 40000000, 88, &sink, &error), 0);
    assert_int_equal(got.holes, 1);
    assert_string_equal(got.reason, "the board's watchdog started it again");
}

static void a_peak_keeps_its_moment_and_a_lost_edge_is_found_again(void **state)
{
    (void)state;
    start(0.0);
    for (int i = 0; i < 60; i++) {
        send_frame(100000, i != 30);
    }
    assert_int_equal(got.highs, 59);
    assert_int_equal(got.high, 999);
    assert_int_equal(got.motions, 1); /* how the pin stands, told after the loss */
}

static void take(struct report *report)
{
    struct error error;
    report->seq = seq++;
    report->tick = (uint32_t)tick;
    assert_int_equal(serial_board_take(&board, report, came_ns, 20, &sink, &error), 0);
}

static void a_sensor_that_fails_is_told_and_its_hole_says_why(void **state)
{
    (void)state;
    char note[128];
    start(0.0);
    board.setup.channels[BOARD_TEMPERATURE] = 3;
    board.setup.channels[BOARD_MAGNETIC_X] = board.setup.channels[BOARD_MAGNETIC_Y] =
        board.setup.channels[BOARD_MAGNETIC_Z] = BOARD_ABSENT;
    struct report good = {.kind = REPORT_TEMPERATURE};
    struct report bad = {.kind = REPORT_TEMPERATURE};
    bad.as.temperature.status = TEMPERATURE_BAD_CRC;
    send_frame(100000, true);
    take(&good);
    serial_board_note(&board, note, sizeof note);
    assert_string_equal(note, "");
    for (int i = 0; i < 30; i++) {
        send_frame(100000, true);
    }
    take(&bad);
    serial_board_note(&board, note, sizeof note);
    assert_string_equal(note, "the thermometer's checksum is wrong");
    for (int i = 0; i < 30; i++) {
        send_frame(100000, true);
    }
    assert_int_equal(got.holes, 0);
    take(&good);
    assert_int_equal(got.holes, 1);
    assert_string_equal(got.reason, "the thermometer's checksum is wrong");
    assert_close(got.hole_ns, 60 * 32e6, 3e6);
    serial_board_note(&board, note, sizeof note);
    assert_string_equal(note, "");
}

static void samples_without_room_on_the_board_are_a_hole_with_its_cause(void **state)
{
    (void)state;
    struct error error;
    start(0.0);
    for (int i = 0; i < 10; i++) {
        send_frame(100000, true);
    }
    tick += 250 * 5;
    struct report report = {.kind = REPORT_SAMPLES, .seq = seq++, .tick = (uint32_t)tick};
    report.as.samples.count = REPORT_BATCH;
    report.as.samples.lost = 5;
    came_ns = truth_ns(tick + 250 * REPORT_BATCH + 32) + 1860000;
    assert_int_equal(serial_board_take(&board, &report, came_ns, 88, &sink, &error), 0);
    assert_int_equal(got.holes, 1);
    assert_string_equal(got.reason, "board: samples found no room");
    assert_close(got.hole_ns, 6e6, 0.5e6);
}

static void firmware_of_another_version_is_refused(void **state)
{
    (void)state;
    struct error error;
    start(0.0);
    struct report hello = {.kind = REPORT_HELLO};
    hello.as.hello = (struct report_hello){.version = REPORT_VERSION + 1};
    assert_int_equal(serial_board_take(&board, &hello, HOST_NS, 25, &sink, &error), -1);
    assert_error(error, ERROR_VERSION, "another version");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_resonator_half_a_percent_off_is_within_a_millisecond_after_five_minutes),
        cmocka_unit_test(lost_frames_are_a_hole_with_its_cause_and_nothing_is_bridged),
        cmocka_unit_test(a_clock_that_was_ahead_is_taken_back_and_no_sample_is_lost_or_missed),
        cmocka_unit_test(a_board_that_starts_again_says_why_and_begins_a_new_line),
        cmocka_unit_test(a_peak_keeps_its_moment_and_a_lost_edge_is_found_again),
        cmocka_unit_test(a_sensor_that_fails_is_told_and_its_hole_says_why),
        cmocka_unit_test(samples_without_room_on_the_board_are_a_hole_with_its_cause),
        cmocka_unit_test(firmware_of_another_version_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
