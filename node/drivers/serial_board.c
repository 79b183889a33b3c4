/* Frames to samples: ticks to host time by the tick clock, missing numbers to holes.
 * Must never give a sample a time that its neighbours contradict. Called by serial.c. */
#include "node/drivers/serial_board.h"

#include <stdio.h>
#include <string.h>

#define LINE_BITS_A_BYTE 10
#define MADE_TICKS 32u /* from a frame's last sample period to the frame: a conversion */
#define PS_PER_NS 1000
#define OFF_LINE_NS 2000 /* the clock's line moved so far: a new line of samples begins */
#define BEGIN_BEFORE_NS INT64_C(150000000) /* a first frame's samples are younger than this */
#define REFERENCE_MV 1100
#define CONVERTER_FULL 1024

int serial_board_init(struct serial_board *board, const struct board_setup *setup, int64_t now_ns,
                      struct error *error)
{
    *board = (struct serial_board){.setup = *setup,
                                   .told_ns = now_ns - BEGIN_BEFORE_NS,
                                   .last_word_ns = now_ns,
                                   .asked_ns = INT64_MIN};
    struct tick_clock_setup clock = {.tick_hz = REPORT_TICK_HZ,
                                     .counter_bits = 32,
                                     .tolerance_ppb = setup->resonator_ppb,
                                     .latency_most_ns = setup->latency_most_ns};
    return tick_clock_init(&board->clock, &clock, error);
}

static int64_t time_of(struct serial_board *board, uint32_t tick)
{
    int64_t host_ns = board->last_word_ns;
    (void)tick_clock_at(&board->clock, tick, &host_ns, &board->clock_sd_ns);
    return host_ns;
}

/* ---- the clock ---- */

static void begin_anew(struct serial_board *board, const char *why)
{
    board->antenna.known = false;
    board->magnetic.known = false;
    if (!board->fault[0]) { /* the first to notice knows best */
        snprintf(board->fault, sizeof board->fault, "%s", why);
    }
}

/* The moment at which the frame was made, by the board's own count. */
static uint32_t made_tick(const struct report *report)
{
    if (report->kind != REPORT_SAMPLES) {
        return report->tick;
    }
    return report->tick + report->as.samples.count * REPORT_SAMPLE_TICKS + MADE_TICKS;
}

static void feed_clock(struct serial_board *board, const struct report *report, int64_t came_ns,
                       uint8_t frame_bytes)
{
    int64_t on_line_ns =
        (int64_t)frame_bytes * LINE_BITS_A_BYTE * NS_PER_S / (int64_t)board->setup.baud;
    enum tick_verdict verdict = TICK_TAKEN;
    if (report->kind == REPORT_ANSWER) {
        bool ours = report->as.answer.command == COMMAND_PING && board->asked_ns != INT64_MIN &&
                    report->as.answer.value == board->ping;
        if (!ours) {
            return;
        }
        verdict = tick_clock_feed_answer(&board->clock, board->asked_ns, report->tick,
                                         came_ns - on_line_ns);
        board->asked_ns = INT64_MIN;
    } else if (report->kind == REPORT_SAMPLES || report->kind == REPORT_HELLO) {
        /* An edge's tick is when the pin moved, which is not when its word was made. */
        verdict = tick_clock_feed(&board->clock, made_tick(report), came_ns - on_line_ns);
    } else {
        return;
    }
    board->clocked = true;
    if (verdict == TICK_RESTARTED) {
        begin_anew(board, "the board started again");
    }
}

/* ---- lines of samples ---- */

static int64_t line_time_ns(const struct board_line *line, uint32_t tick, uint32_t period_ticks)
{
    uint32_t index = (tick - line->tick) / period_ticks;
    struct block run = {.t0_ns = line->t0_ns, .period_ps = line->period_ps};
    return block_time_ns(&run, index);
}

/* What is missing, in words. */
static void say_hole(const struct serial_board *board, const struct board_line *line, char *why,
                     size_t size)
{
    if (board->fault[0]) {
        snprintf(why, size, "%.70s", board->fault);
    } else if (line == &board->magnetic && board->magnetic_fault) {
        snprintf(why, size, "%s", board->magnetic_fault);
    } else if (line == &board->antenna && board->overrun && board->lost_frames == 0) {
        snprintf(why, size, "board: samples found no room");
    } else if (board->lost_frames > 0) {
        snprintf(why, size, "line: %u frame%s lost%s", board->lost_frames,
                 board->lost_frames == 1 ? "" : "s", board->bad_frames ? " (damaged bytes)" : "");
    } else {
        snprintf(why, size, "board: it did not sample");
    }
}

/* Makes the line fit for samples from `tick` on; a hole before them is told for `channels`. */
static void follow(struct serial_board *board, struct board_line *line, uint32_t tick,
                   uint32_t period_ticks, const size_t *channels, size_t count,
                   const struct driver_sink *sink)
{
    int64_t by_clock_ns = time_of(board, tick);
    /* A measurement that was asked for a little late is no hole; nor is a clock that began anew
     * while the board counted on. */
    bool in_step = line->any && tick - line->next_tick + period_ticks / 2 < period_ticks;
    bool on_grid = line->known && (tick - line->tick) % period_ticks == 0;
    int64_t off_ns = on_grid ? line_time_ns(line, tick, period_ticks) - by_clock_ns : INT64_MAX;
    if (!on_grid || off_ns > OFF_LINE_NS || off_ns < -OFF_LINE_NS || tick - line->tick > 1u << 30) {
        int64_t rate_ppt = tick_clock_rate_ppt(&board->clock);
        int64_t nominal_ps = (int64_t)period_ticks * (PS_PER_S / REPORT_TICK_HZ);
        line->known = true;
        line->tick = tick;
        line->t0_ns = by_clock_ns;
        line->period_ps = nominal_ps + nominal_ps / 1000000 * (rate_ppt / 1000) / 1000;
        /* A clock that turns out to be ahead is taken back half a period a frame at the most: the
         * samples were taken evenly. */
        int64_t soonest_ns = line->last_ns + line->period_ps / 2 / PS_PER_NS;
        if (line->any && line->t0_ns < soonest_ns) {
            line->t0_ns = soonest_ns;
        }
    }
    if (line->any && !in_step) {
        char why[HOLE_REASON_SIZE];
        say_hole(board, line, why, sizeof why);
        for (size_t i = 0; i < count; i++) {
            driver_tell_hole(sink, channels[i], line->last_ns,
                             line_time_ns(line, tick, period_ticks), why);
        }
    }
}

/* `run`: as it was handed on. */
static void note_told(struct board_line *line, uint32_t tick, uint32_t period_ticks,
                      const struct block *run)
{
    line->next_tick = tick + run->count * period_ticks;
    line->last_ns = block_time_ns(run, run->count - 1);
    line->any = true;
}

static void tell_change(struct serial_board *board, enum board_channel which, int64_t time_ns,
                        int32_t count, bool always, const struct driver_sink *sink)
{
    size_t channel = board->setup.channels[which];
    bool news = always || !board->change_any[which] || board->change_count[which] != count;
    if (channel == BOARD_ABSENT || !news) {
        return;
    }
    if (board->change_any[which] && time_ns <= board->change_ns[which]) {
        time_ns = board->change_ns[which] + 1;
    }
    sink->change(sink->context, channel, time_ns, count);
    board->change_any[which] = true;
    board->change_ns[which] = time_ns;
    board->change_count[which] = count;
}

/* ---- frames ---- */

static void take_samples(struct serial_board *board, const struct report *report,
                         const struct driver_sink *sink)
{
    const struct report_samples *samples = &report->as.samples;
    int32_t counts[REPORT_BATCH];
    size_t channel = board->setup.channels[BOARD_ELECTRIC];
    bool lost = board->lost_frames > 0 || board->fault[0];
    board->overrun = board->antenna.any && samples->lost != board->lost_samples;
    board->lost_samples = samples->lost;
    follow(board, &board->antenna, report->tick, REPORT_SAMPLE_TICKS, &channel, 1, sink);
    for (uint8_t i = 0; i < samples->count; i++) {
        counts[i] = samples->values[i];
    }
    int64_t t0_ns = line_time_ns(&board->antenna, report->tick, REPORT_SAMPLE_TICKS);
    sink->samples(sink->context, channel, t0_ns, board->antenna.period_ps, counts, samples->count);
    const struct block run = {
        .t0_ns = t0_ns, .period_ps = board->antenna.period_ps, .count = samples->count};
    note_told(&board->antenna, report->tick, REPORT_SAMPLE_TICKS, &run);
    int64_t tick_ns = NS_PER_S / REPORT_TICK_HZ;
    tell_change(board, BOARD_HIGH, t0_ns + samples->high_at * tick_ns, samples->high, true, sink);
    tell_change(board, BOARD_LOW, t0_ns + samples->low_at * tick_ns, samples->low, true, sink);
    tell_change(board, BOARD_GAIN, t0_ns, samples->gain, false, sink);
    if (lost) { /* an edge may be among what was lost: the level is known again from here */
        tell_change(board, BOARD_MOTION, board->antenna.last_ns, samples->motion, false, sink);
    }
    /* Edges of the time of these samples may still be under way. */
    board->told_ns = t0_ns > board->told_ns ? t0_ns : board->told_ns;
    board->lost_frames = 0;
    board->bad_frames = 0;
    board->fault[0] = '\0';
}

static void take_magnetic(struct serial_board *board, const struct report *report,
                          const struct driver_sink *sink)
{
    const size_t *channels = &board->setup.channels[BOARD_MAGNETIC_X];
    uint32_t period_ticks = 13u * REPORT_SAMPLE_TICKS;
    if (channels[0] == BOARD_ABSENT) {
        return;
    }
    if (report->as.magnetic.status == MAGNETIC_NO_ANSWER) {
        board->magnetic_fault = "the magnetometer does not answer";
        return;
    }
    follow(board, &board->magnetic, report->tick, period_ticks, channels, 3, sink);
    int64_t time_ns = line_time_ns(&board->magnetic, report->tick, period_ticks);
    for (size_t i = 0; i < 3; i++) {
        int32_t count = report->as.magnetic.axis[i];
        sink->samples(sink->context, channels[i], time_ns, board->magnetic.period_ps, &count, 1);
    }
    const struct block run = {.t0_ns = time_ns, .period_ps = board->magnetic.period_ps, .count = 1};
    note_told(&board->magnetic, report->tick, period_ticks, &run);
    board->magnetic_fault = report->as.magnetic.status == MAGNETIC_SATURATED
                                ? "the magnetometer is at the end of its range"
                                : NULL;
}

static void take_temperature(struct serial_board *board, const struct report *report,
                             const struct driver_sink *sink)
{
    static const char *const faults[] = {
        [TEMPERATURE_ABSENT] = "the thermometer does not answer",
        [TEMPERATURE_BAD_CRC] = "the thermometer's checksum is wrong",
        [TEMPERATURE_NOT_CONVERTED] = "the thermometer did not convert: its supply?",
    };
    size_t channel = board->setup.channels[BOARD_TEMPERATURE];
    uint8_t status = report->as.temperature.status;
    if (channel == BOARD_ABSENT) {
        return;
    }
    if (status != TEMPERATURE_GOOD) {
        bool known = status < sizeof faults / sizeof faults[0];
        board->temperature_fault = known ? faults[status] : "the thermometer fails";
        return;
    }
    int64_t time_ns = time_of(board, report->tick);
    if (board->temperature_fault && board->change_any[BOARD_TEMPERATURE]) {
        driver_tell_hole(sink, channel, board->change_ns[BOARD_TEMPERATURE], time_ns,
                         board->temperature_fault);
    }
    board->temperature_fault = NULL;
    tell_change(board, BOARD_TEMPERATURE, time_ns, report->as.temperature.sixteenths, true, sink);
}

static int take_hello(struct serial_board *board, const struct report *report, struct error *error)
{
    const struct report_hello *hello = &report->as.hello;
    if (hello->version != REPORT_VERSION || hello->tick_hz != REPORT_TICK_HZ ||
        hello->sample_ticks != REPORT_SAMPLE_TICKS) {
        return error_set(error, ERROR_VERSION, "the board's firmware is of another version");
    }
    if (board->setup.channels[BOARD_MAGNETIC_X] != BOARD_ABSENT && hello->magnetometer == 0) {
        return error_set(error, ERROR_NOT_FOUND, "the board finds no magnetometer");
    }
    if (board->started && hello->start != board->start) {
        begin_anew(board, hello->reset & RESET_WATCHDOG    ? "the board's watchdog started it again"
                          : hello->reset & RESET_BROWN_OUT ? "the board's supply was too low"
                                                           : "the board started again");
    }
    board->start = hello->start;
    board->started = true;
    return 0;
}

static void count_lost(struct serial_board *board, const struct report *report)
{
    uint16_t missing = (uint16_t)(report->seq - board->seq);
    bool again = report->kind == REPORT_HELLO && board->started &&
                 report->as.hello.start != board->start; /* it counts anew */
    if (board->heard && !again) {
        board->lost_frames += missing;
        board->lost_all += missing;
    }
    board->heard = true;
    board->seq = (uint16_t)(report->seq + 1u);
}

int serial_board_take(struct serial_board *board, const struct report *report, int64_t came_ns,
                      uint8_t frame_bytes, const struct driver_sink *sink, struct error *error)
{
    count_lost(board, report);
    if (report->kind == REPORT_HELLO && take_hello(board, report, error)) {
        return -1;
    }
    feed_clock(board, report, came_ns, frame_bytes);
    board->last_word_ns = came_ns;
    if (!board->clocked) {
        return 0;
    }
    switch (report->kind) {
    case REPORT_SAMPLES:
        take_samples(board, report, sink);
        break;
    case REPORT_EDGE:
        tell_change(board, BOARD_MOTION, time_of(board, report->tick), report->as.edge.level, false,
                    sink);
        break;
    case REPORT_MAGNETIC:
        take_magnetic(board, report, sink);
        break;
    case REPORT_TEMPERATURE:
        take_temperature(board, report, sink);
        break;
    case REPORT_SUPPLY:
        if (report->as.supply.reference_counts > 0) {
            tell_change(board, BOARD_BATTERY, time_of(board, report->tick),
                        REFERENCE_MV * CONVERTER_FULL / report->as.supply.reference_counts, true,
                        sink);
        }
        break;
    default:
        break;
    }
    return 0;
}

void serial_board_bad(struct serial_board *board)
{
    board->bad_frames += board->heard;
}

void serial_board_note(const struct serial_board *board, char *note, size_t size)
{
    const char *field = board->magnetic_fault ? board->magnetic_fault : "";
    const char *air = board->temperature_fault ? board->temperature_fault : "";
    snprintf(note, size, "%s%s%s", field, field[0] && air[0] ? "; " : "", air);
}

void serial_board_ask(struct serial_board *board, int64_t now_ns, struct report *question)
{
    *question = (struct report){.kind = REPORT_COMMAND};
    question->as.answer = (struct report_answer){COMMAND_PING, ++board->ping};
    board->asked_ns = now_ns;
}
