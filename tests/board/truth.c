/* Frames to samples, each looked up among the conversions that were logged.
 * Must never trust the board's own count of anything. Called by board_truth.c and board_live.c. */
#include "tests/board/truth.h"

#include <stdio.h>
#include <stdlib.h>

void truth_fault(struct truth *truth, const char *what, long long got, long long expected)
{
    if (truth->faults++ < 20) {
        printf("FAULT at %.6f s: %s %lld, expected %lld\n",
               (double)truth->bench.avr->cycle / BENCH_HZ, what, got, expected);
    }
}

static void expect(struct truth *truth, const char *what, long long got, long long expected)
{
    if (got != expected) {
        truth_fault(truth, what, got, expected);
    }
}

/* The number of the first conversion in the log that started at or after `cycle`. */
static uint64_t find_conversion(const struct bench *bench, int64_t cycle)
{
    uint64_t at = bench->conversions > BENCH_LOG ? bench->conversions - BENCH_LOG : 0;
    uint64_t end = bench->conversions;
    while (at < end) {
        uint64_t middle = at + (end - at) / 2;
        if ((int64_t)bench->log[middle % BENCH_LOG].cycle < cycle) {
            at = middle + 1;
        } else {
            end = middle;
        }
    }
    return at;
}

static void count_late(struct truth *truth, int64_t late)
{
    int kind = late <= 2 ? 0 : late <= 16 ? 1 : late <= 32 ? 2 : late <= BENCH_TICK_CYCLES ? 3 : 4;
    truth->late[kind]++;
    truth->latest = late > truth->latest ? late : truth->latest;
    if (late > BENCH_TICK_CYCLES) {
        truth_fault(truth, "a conversion started late by cycles", late, 0);
    }
}

/* All of the antenna's conversions from the batch's first sample to the end of its last. */
static void check_extremes(struct truth *truth, const struct report *report, uint64_t first)
{
    const struct report_samples *samples = &report->as.samples;
    int64_t begin = truth->origin + (int64_t)report->tick * BENCH_TICK_CYCLES;
    int64_t end = begin + (int64_t)samples->count * REPORT_SAMPLE_TICKS * BENCH_TICK_CYCLES;
    uint16_t high = 0;
    uint16_t low = 1023;
    int64_t high_at = 0;
    for (uint64_t i = first; i < truth->bench.conversions; i++) {
        const struct bench_conversion *one = &truth->bench.log[i % BENCH_LOG];
        if ((int64_t)one->cycle >= end) {
            break;
        }
        high_at = one->counts > high ? (int64_t)one->cycle - begin : high_at;
        high = one->counts > high ? one->counts : high;
        low = one->counts < low ? one->counts : low;
        truth->glances_kept++;
    }
    expect(truth, "highest", samples->high, high);
    expect(truth, "lowest", samples->low, low);
    int64_t off = high_at - (int64_t)samples->high_at * BENCH_TICK_CYCLES;
    if (llabs(off) > 2 * BENCH_TICK_CYCLES) {
        truth_fault(truth, "the peak's tick is off by cycles", off, 0);
    }
}

/* The interrupt takes the same few cycles from the tick to the start each time, when nothing else
 * runs: tick 0 by the quickest of the first frame's. Nothing after may be quicker. */
static void find_origin(struct truth *truth, const struct report *report)
{
    uint8_t i = 0;
    truth->origin = INT64_MAX;
    for (uint64_t at = 0; at < truth->bench.conversions && i < report->as.samples.count; at++) {
        const struct bench_conversion *one = &truth->bench.log[at % BENCH_LOG];
        if (one->sample) {
            int64_t tick = report->tick + (int64_t)i++ * REPORT_SAMPLE_TICKS;
            int64_t origin = (int64_t)one->cycle - tick * BENCH_TICK_CYCLES;
            truth->origin = origin < truth->origin ? origin : truth->origin;
        }
    }
}

static void check_samples(struct truth *truth, const struct report *report)
{
    const struct report_samples *samples = &report->as.samples;
    if (!truth->begun) {
        truth->begun = true;
        truth->next_tick = report->tick;
        find_origin(truth, report);
    }
    expect(truth, "tick of a frame's first sample", report->tick, truth->next_tick);
    expect(truth, "samples lost on the board", samples->lost, 0);
    uint64_t first = 0;
    for (uint8_t i = 0; i < samples->count; i++) {
        uint32_t tick = report->tick + (uint32_t)i * REPORT_SAMPLE_TICKS;
        int64_t due = truth->origin + (int64_t)tick * BENCH_TICK_CYCLES;
        uint64_t at = find_conversion(&truth->bench, due);
        const struct bench_conversion *one = &truth->bench.log[at % BENCH_LOG];
        first = i == 0 ? at : first;
        expect(truth, "sample", samples->values[i], one->counts);
        count_late(truth, (int64_t)one->cycle - due);
    }
    check_extremes(truth, report, first);
    truth->samples += samples->count;
    truth->next_tick = report->tick + (uint32_t)samples->count * REPORT_SAMPLE_TICKS;
}

static void check_edge(struct truth *truth, const struct report *report)
{
    if (truth->edges == truth->bench.edge_count) { /* the board tells how the pin stands at first */
        return;
    }
    const struct bench_edge *edge = &truth->bench.edges[truth->edges++ % BENCH_EDGES];
    expect(truth, "the pin's level", report->as.edge.level, edge->level);
    int64_t late = truth->origin + (int64_t)report->tick * BENCH_TICK_CYCLES + BENCH_TICK_CYCLES -
                   (int64_t)edge->cycle;
    truth->edge_latest = late > truth->edge_latest ? late : truth->edge_latest;
    /* Up to a tick by the counter, and what the origin is late by: an interrupt's entry. */
    if (late < 0 || late > 2 * BENCH_TICK_CYCLES + 16) {
        truth_fault(truth, "an edge's tick is off by cycles", late, 0);
    }
}

/* The measurement that began at the report's tick. A report may wait on the line behind others
 * until the part measures again, so it need not be the newest. NULL: none began then. */
static const struct bench_magnetic *find_magnetic(const struct truth *truth, int64_t due)
{
    const struct bench *bench = &truth->bench;
    for (uint64_t back = 1; back <= 64u && back <= bench->magnetic_count; back++) {
        const struct bench_magnetic *one = &bench->magnetic[(bench->magnetic_count - back) % 64u];
        int64_t late = (int64_t)one->cycle - due;
        if (late >= 0 && late <= (int64_t)MILLISECOND) {
            return one;
        }
    }
    return NULL;
}

static void check_magnetic(struct truth *truth, const struct report *report)
{
    bool away = truth->bench.magnetometer_gone || truth->field_away;
    truth->field_away = truth->bench.magnetometer_gone;
    if (away) { /* what it was asked before, or not at all */
        return;
    }
    const struct bench_magnetic *field =
        find_magnetic(truth, truth->origin + (int64_t)report->tick * BENCH_TICK_CYCLES);
    expect(truth, "the magnetometer's status", report->as.magnetic.status, MAGNETIC_GOOD);
    expect(truth, "measurements that began at a field's tick", field != NULL, 1);
    for (int i = 0; field && i < 3; i++) {
        expect(truth, "field", report->as.magnetic.axis[i], field->axis[i]);
    }
    truth->fields++;
}

/* Its tick is when the question's last byte was there; those of another question may have been sent
 * since. */
static void check_answer(struct truth *truth, const struct report *report)
{
    const struct bench *bench = &truth->bench;
    int64_t came = truth->origin + (int64_t)report->tick * BENCH_TICK_CYCLES;
    int64_t late = INT64_MAX;
    for (uint64_t back = 1; back <= bench->sent && back <= BENCH_SENT; back++) {
        late = came - (int64_t)bench->sent_cycles[(bench->sent - back) % BENCH_SENT];
        if (late >= -BENCH_TICK_CYCLES) {
            break;
        }
    }
    if (truth->begun && (late < -BENCH_TICK_CYCLES || late > 2 * (int64_t)MILLISECOND)) {
        truth_fault(truth, "an answer's tick is off by cycles", late, 0);
    }
    truth->answers++;
}

static void check_slow(struct truth *truth, const struct report *report)
{
    switch (report->kind) {
    case REPORT_TEMPERATURE:
        expect(truth, "the thermometer's status", report->as.temperature.status, TEMPERATURE_GOOD);
        expect(truth, "temperature", report->as.temperature.sixteenths, truth->bench.sixteenths);
        truth->temperatures++;
        break;
    case REPORT_SUPPLY:
        expect(truth, "reference", report->as.supply.reference_counts, bench_counts(1100));
        expect(truth, "pot", report->as.supply.gain_counts, bench_counts(truth->bench.pot_mv));
        truth->supplies++;
        break;
    case REPORT_HELLO:
        truth->reset = report->as.hello.reset;
        truth->hellos++;
        break;
    case REPORT_ANSWER:
        check_answer(truth, report);
        break;
    default:
        truth_fault(truth, "a frame of kind", report->kind, 0);
    }
}

void truth_begin(struct truth *truth)
{
    truth->reader = (struct frame_reader){.bytes = truth->bytes, .size = sizeof truth->bytes};
}

void truth_take(struct truth *truth, uint8_t byte)
{
    struct report report;
    enum frame_event event = frame_put(&truth->reader, byte);
    truth->bytes_told++;
    if (event == FRAME_NONE) {
        return;
    }
    if (event == FRAME_BAD || !report_unpack(truth->reader.bytes, truth->reader.length, &report)) {
        truth_fault(truth, "a frame that can't be read", event, FRAME_WHOLE);
        return;
    }
    expect(truth, "seq", report.seq, truth->seq);
    truth->seq = (uint16_t)(report.seq + 1u);
    truth->frames++;
    if (report.kind == REPORT_SAMPLES) {
        check_samples(truth, &report);
    } else if (report.kind == REPORT_EDGE) {
        check_edge(truth, &report);
    } else if (report.kind == REPORT_MAGNETIC) {
        check_magnetic(truth, &report);
    } else {
        check_slow(truth, &report);
    }
}

void truth_print(struct truth *truth, const char *name)
{
    const struct bench *bench = &truth->bench;
    double seconds = (double)bench->avr->cycle / BENCH_HZ;
    double all = 0;
    for (int i = 0; i < 5; i++) {
        all += (double)truth->late[i] / 100.0;
    }
    printf("%s: %.0f s: %llu frames, %llu samples, %llu conversions for the peaks, %llu edges, "
           "%llu fields, %llu temperatures\n",
           name, seconds, (unsigned long long)truth->frames, (unsigned long long)truth->samples,
           (unsigned long long)truth->glances_kept, (unsigned long long)truth->edges,
           (unsigned long long)truth->fields, (unsigned long long)truth->temperatures);
    printf("  conversions started within 2 cycles of their tick %.2f %%, a quarter tick %.2f %%, "
           "half %.2f %%, one %.2f %%, later %.2f %%; latest %lld cycles of the tick's %d\n",
           (double)truth->late[0] / all, (double)truth->late[1] / all, (double)truth->late[2] / all,
           (double)truth->late[3] / all, (double)truth->late[4] / all, (long long)truth->latest,
           BENCH_TICK_CYCLES);
    uint32_t flash = bench->avr->flashend + 1;
    uint32_t ram = bench->avr->ramend + 1 - 0x100u;
    uint32_t stack = (uint32_t)bench->avr->ramend - bench->lowest_stack;
    printf("  flash %u of %u bytes, RAM %u static and %u stack of %u; busy %.1f %% of the cycles; "
           "line %.0f bytes a second\n",
           bench->flash_bytes, flash, bench->static_bytes, stack, ram,
           100.0 - 100.0 * (double)bench->slept / (double)bench->avr->cycle,
           (double)truth->bytes_told / seconds);
    if (2 * bench->flash_bytes > flash || 2 * (bench->static_bytes + stack) > ram) {
        truth_fault(truth, "more than half; RAM bytes", bench->static_bytes + stack, ram / 2);
    }
}
