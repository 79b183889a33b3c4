/* Runs the firmware's image for a while, compares all it says with what its pins were given, and
 * prints size, cycles and stack. Must never pass where a sample differs or a tick is off.
 * usage: board_truth IMAGE CHIP SECONDS. Run by ctest, and by hand for half an hour. */
#include <stdio.h>
#include <stdlib.h>

#include "tests/board/truth.h"

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
        truth_fault(truth, "after the watchdog, conversions in 0.1 s",
                    (long long)(truth->bench.conversions - conversions), 700);
    }
}

static void on_byte(void *context, uint8_t byte)
{
    truth_take(context, byte);
}

int main(int argc, char **argv)
{
    if (argc != 4) {
        fputs("usage: board_truth IMAGE CHIP SECONDS\n", stderr);
        return 2;
    }
    static struct truth truth;
    uint64_t seconds = strtoull(argv[3], NULL, 10);
    truth_begin(&truth);
    truth.bench.on_byte = on_byte;
    truth.bench.context = &truth;
    truth.bench.sixteenths = 21 * 16 + 5;
    truth.bench.pot_mv = 1700;
    truth.bench.hum_mv = 600.0;
    truth.bench.swell_mv = 200.0;
    truth.bench.spike_every = 777 * MILLISECOND + 12345;
    if (bench_start(&truth.bench, argv[1], argv[2]) || !run(&truth, seconds)) {
        return 1;
    }
    truth_print(&truth, argv[2]);
    if (truth.samples < (seconds - 1) * 1000 || truth.temperatures + 2 < seconds ||
        truth.edges == 0 || truth.fields < (seconds - 1) * 76) {
        truth_fault(&truth, "too little was said; samples", (long long)truth.samples,
                    (long long)seconds * 1000);
    }
    check_watchdog(&truth);
    printf("  %d faults\n", truth.faults);
    bench_free(&truth.bench);
    return truth.faults ? 1 : 0;
}
