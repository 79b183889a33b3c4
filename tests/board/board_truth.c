/* Runs the firmware's image for a while, compares all it says with what its pins were given, and
 * prints size, cycles and stack. Must never pass where a sample differs or a tick is off.
 * usage: board_truth IMAGE CHIP SECONDS. Run by ctest, and by hand for half an hour. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "node/board/report.h"
#include "tests/board/bench.h"

#define MILLISECOND ((uint64_t)BENCH_HZ / 1000)

struct truth {
    struct bench bench;
    struct frame_reader reader;
    uint8_t bytes[FRAME_LINE_MAX];
    int64_t origin; /* cycle of tick 0; known from the first sample */
    bool begun;
    uint16_t seq;
    uint32_t next_tick;
    uint64_t frames, samples, glances_kept, edges, fields, temperatures, supplies, hellos;
    uint64_t bytes_told;
    int64_t latest; /* cycles from a tick to its conversion's start, at the most */
    int64_t edge_latest;
    uint64_t late[5]; /* starts by lateness: exact, a quarter tick, half, one, more */
    int faults;
    uint8_t reset;
};

static void fault(struct truth *truth, const char *what, long long got, long long expected)
{
    if (truth->faults++ < 20) {
        printf("FAULT at %.6f s: %s %lld, expected %lld\n",
               (double)truth->bench.avr->cycle / BENCH_HZ, what, got, expected);
    }
}

static void expect(struct truth *truth, const char *what, long long got, long long expected)
{
    if (got != expected) {
        fault(truth, what, got, expected);
    }
}

/* The number of the first conversion in the log that started at or after `cycle`. */
static uint64_t find_conversion(const struct bench *bench, int64_t cycle)
{
    uint64_t at = bench->conversions > BENCH_LOG ? bench->conversions - BENCH_LOG : 0;
    while (at < bench->conversions && (int64_t)bench->log[at % BENCH_LOG].cycle < cycle) {
        at++;
    }
    return at;
}

static void count_late(struct truth *truth, int64_t late)
{
    int kind = late <= 2 ? 0 : late <= 16 ? 1 : late <= 32 ? 2 : late <= BENCH_TICK_CYCLES ? 3 : 4;
    truth->late[kind]++;
    truth->latest = late > truth->latest ? late : truth->latest;
    if (late > BENCH_TICK_CYCLES) {
        fault(truth, "a conversion started late by cycles", late, 0);
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
        fault(truth, "the peak's tick is off by cycles", off, 0);
    }
}

/* The interrupt takes the same few cycles from the tick to the start each time, when nothing else
 * runs: tick 0 by the quickest of the first frame's. Nothing after may be quicker. */
static void find_origin(struct truth *truth, const struct report *report)
{
    truth->origin = INT64_MAX;
    int64_t from = 0;
    for (uint8_t i = 0; i < report->as.samples.count; i++) {
        uint64_t at = find_conversion(&truth->bench, from);
        int64_t cycle = (int64_t)truth->bench.log[at % BENCH_LOG].cycle;
        int64_t tick = report->tick + (int64_t)i * REPORT_SAMPLE_TICKS;
        int64_t origin = cycle - tick * BENCH_TICK_CYCLES;
        truth->origin = origin < truth->origin ? origin : truth->origin;
        from = cycle + (int64_t)MILLISECOND / 100 * 85; /* the next one after the glances */
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
        fault(truth, "an edge's tick is off by cycles", late, 0);
    }
}

static void check_magnetic(struct truth *truth, const struct report *report)
{
    const struct bench_magnetic *field =
        &truth->bench.magnetic[(truth->bench.magnetic_count - 1) % 64u];
    expect(truth, "the magnetometer's status", report->as.magnetic.status, MAGNETIC_GOOD);
    for (int i = 0; i < 3; i++) {
        expect(truth, "field", report->as.magnetic.axis[i], field->axis[i]);
    }
    int64_t due = truth->origin + (int64_t)report->tick * BENCH_TICK_CYCLES;
    int64_t late = (int64_t)field->cycle - due;
    if (late < 0 || late > (int64_t)MILLISECOND) {
        fault(truth, "a measurement began off its tick by cycles", late, 0);
    }
    truth->fields++;
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
    default:
        fault(truth, "a frame of kind", report->kind, 0);
    }
}

static void on_byte(void *context, uint8_t byte)
{
    struct truth *truth = context;
    struct report report;
    enum frame_event event = frame_put(&truth->reader, byte);
    truth->bytes_told++;
    if (event == FRAME_NONE) {
        return;
    }
    if (event == FRAME_BAD || !report_unpack(truth->reader.bytes, truth->reader.length, &report)) {
        fault(truth, "a frame that can't be read", event, FRAME_WHOLE);
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

/* Edges at odd moments, a few a second; the temperature wanders. */
static bool run(struct truth *truth, uint64_t seconds)
{
    struct bench *bench = &truth->bench;
    uint64_t end = seconds * BENCH_HZ;
    uint32_t draw = 12345;
    bool level = false;
    while (bench->avr->cycle < end) {
        draw = draw * 1664525u + 1013904223u;
        uint64_t wait = 50 * MILLISECOND + (draw >> 8) % (400 * MILLISECOND);
        if (!bench_run(bench, bench->avr->cycle + wait)) {
            printf("FAULT: the firmware crashed\n");
            return false;
        }
        if (truth->begun) {
            level = !level;
            bench_set_motion(bench, level);
        }
    }
    return true;
}

static void print_figures(const struct truth *truth, const char *chip, uint64_t seconds)
{
    uint64_t all =
        truth->late[0] + truth->late[1] + truth->late[2] + truth->late[3] + truth->late[4];
    printf("%s: %llu s: %llu frames, %llu samples, %llu conversions for the peaks, %llu edges, "
           "%llu fields, %llu temperatures\n",
           chip, (unsigned long long)seconds, (unsigned long long)truth->frames,
           (unsigned long long)truth->samples, (unsigned long long)truth->glances_kept,
           (unsigned long long)truth->edges, (unsigned long long)truth->fields,
           (unsigned long long)truth->temperatures);
    printf(
        "  conversions started within 2 cycles of their tick %.2f %%, a quarter tick %.2f %%, "
        "half %.2f %%, one %.2f %%, later %.2f %%; latest %lld cycles of the tick's %d\n",
        100.0 * (double)truth->late[0] / (double)all, 100.0 * (double)truth->late[1] / (double)all,
        100.0 * (double)truth->late[2] / (double)all, 100.0 * (double)truth->late[3] / (double)all,
        100.0 * (double)truth->late[4] / (double)all, (long long)truth->latest, BENCH_TICK_CYCLES);
    printf("  line %.0f bytes a second\n", (double)truth->bytes_told / (double)seconds);
}

/* Half of flash and of RAM, the deepest stack included, is the most that it may take. */
static void check_size(struct truth *truth)
{
    const struct bench *bench = &truth->bench;
    uint32_t flash = bench->avr->flashend + 1;
    uint32_t ram = bench->avr->ramend + 1 - 0x100u;
    uint32_t stack = (uint32_t)bench->avr->ramend - bench->lowest_stack;
    printf("  flash %u of %u bytes, RAM %u static and %u stack of %u; busy %.1f %% of the cycles\n",
           bench->flash_bytes, flash, bench->static_bytes, stack, ram,
           100.0 - 100.0 * (double)bench->slept / (double)bench->avr->cycle);
    if (2 * bench->flash_bytes > flash || 2 * (bench->static_bytes + stack) > ram) {
        fault(truth, "more than half; RAM bytes", bench->static_bytes + stack, ram / 2);
    }
}

/* With its timer dead the board must come back by the watchdog and say so. */
static void check_watchdog(struct truth *truth)
{
    truth->begun = false;
    bench_break_timer(&truth->bench);
    truth->bench.on_byte = NULL;
    uint64_t from = truth->bench.avr->cycle;
    bool alive = bench_run(&truth->bench, from + BENCH_HZ);
    uint64_t conversions = truth->bench.conversions;
    alive = alive && bench_run(&truth->bench, truth->bench.avr->cycle + BENCH_HZ / 10);
    if (!alive || truth->bench.conversions - conversions < 500) {
        fault(truth, "after the watchdog, conversions in 0.1 s",
              (long long)(truth->bench.conversions - conversions), 700);
    }
}

int main(int argc, char **argv)
{
    if (argc != 4) {
        fputs("usage: board_truth IMAGE CHIP SECONDS\n", stderr);
        return 2;
    }
    static struct truth truth;
    uint64_t seconds = strtoull(argv[3], NULL, 10);
    truth.reader = (struct frame_reader){.bytes = truth.bytes, .size = sizeof truth.bytes};
    truth.bench.on_byte = on_byte;
    truth.bench.context = &truth;
    truth.bench.sixteenths = 21 * 16 + 5;
    truth.bench.pot_mv = 1700;
    truth.bench.hum_mv = 600.0;
    truth.bench.spike_every = 777 * MILLISECOND + 12345;
    if (bench_start(&truth.bench, argv[1], argv[2]) || !run(&truth, seconds)) {
        return 1;
    }
    print_figures(&truth, argv[2], seconds);
    if (truth.samples < (seconds - 1) * 1000 || truth.temperatures + 2 < seconds ||
        truth.edges == 0 || truth.fields < (seconds - 1) * 76) {
        fault(&truth, "too little was said; samples", (long long)truth.samples,
              (long long)seconds * 1000);
    }
    check_size(&truth);
    check_watchdog(&truth);
    printf("  %d faults\n", truth.faults);
    bench_free(&truth.bench);
    return truth.faults ? 1 : 0;
}
