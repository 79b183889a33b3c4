/* What a sample costs in the detector, beside a plain loop over the same samples in the same run.
 * Must never be part of a test: times depend on the machine. Run by hand: bench_detect [WHICH, 1 to 4].
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "collector/detect/detector.h"

#define SECONDS 3600u
#define BLOCK_S 10u

struct setup {
    const char *title;
    const char *quantity; /* axes .x .y .z where `axes` is 3 */
    size_t axes;
    unsigned rate_hz;
    double hum_counts;
};

static double now_ns(void)
{
    struct timespec time;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
    return (double)time.tv_sec * 1e9 + (double)time.tv_nsec;
}

/* About normal: twelve uniform parts. */
static double noise(uint64_t *state)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*state >> 11) * 0x1p-53;
    }
    return sum;
}

static void fill(const struct setup *setup, int32_t *counts, size_t n, uint64_t seed)
{
    for (size_t i = 0; i < n; i++) {
        double cycles = 50.01 * (double)i / setup->rate_hz;
        double hum = setup->hum_counts * sin(2.0 * M_PI * cycles + (double)seed);
        counts[i] = (int32_t)lrint(20000.0 + 15.0 * noise(&seed) + hum);
    }
}

static void on_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)disturbance;
    ++*(uint64_t *)context;
}

static double run_plain(int32_t *const counts[], size_t axes, size_t n)
{
    double start = now_ns();
    double sum = 0.0;
    for (size_t a = 0; a < axes; a++) {
        for (size_t i = 0; i < n; i++) {
            sum += fabs((double)counts[a][i] * 1e-9);
        }
    }
    double spent = now_ns() - start;
    return sum > 0.0 ? spent : 0.0;
}

static double run_detector(const struct setup *setup, struct detector *detector,
                           int32_t *const counts[], size_t n, int64_t period_ps)
{
    size_t part = (size_t)BLOCK_S * setup->rate_hz;
    double start = now_ns();
    for (size_t from = 0; from < n; from += part) {
        int64_t t0_ns = (int64_t)(from / setup->rate_hz) * 1000000000;
        for (size_t a = 0; a < setup->axes; a++) {
            struct block block = {.channel = (uint16_t)a,
                                  .count = (uint32_t)part,
                                  .t0_ns = t0_ns,
                                  .period_ps = period_ps,
                                  .counts = counts[a] + from};
            detector_push(detector, &block);
        }
    }
    return now_ns() - start;
}

static int bench(const struct setup *setup)
{
    static const char axis_names[] = "xyz";
    static const uint16_t indices[] = {0, 1, 2};
    struct channel channels[3];
    int32_t *counts[3] = {NULL};
    size_t n = (size_t)SECONDS * setup->rate_hz;
    struct error error;
    for (size_t a = 0; a < setup->axes; a++) {
        char name[CHANNEL_NAME_SIZE];
        snprintf(name, sizeof name, setup->axes > 1 ? "%s.%c" : "%s", setup->quantity,
                 axis_names[a]);
        counts[a] = malloc(n * sizeof *counts[a]);
        if (!counts[a] || channel_init(&channels[a], name, NULL, setup->rate_hz, &error) != 0) {
            return 1;
        }
        channels[a].step = (struct decimal){1, -9};
        fill(setup, counts[a], n, a + 1);
    }
    uint64_t disturbances = 0;
    struct detector_settings settings = {
        .mains_hz = 50.0, .baseline_s = 600.0, .false_onsets_per_hour = 0.5};
    struct detector_sink sink = {.context = &disturbances, .opened = on_disturbance};
    struct detector *detector;
    if (detector_new(&settings, 1, channels, indices, setup->axes, &sink, &detector, &error) != 0) {
        fprintf(stderr, "bench_detect: %s\n", error.text);
        return 1;
    }
    double total = (double)(n * setup->axes);
    double plain_ns = run_plain(counts, setup->axes, n) / total;
    double detector_ns = run_detector(setup, detector, counts, n, channels[0].period_ps) / total;
    detector_finish(detector);
    detector_free(detector);
    printf("%-34s %6.2f ns a sample, plain loop %5.2f, ratio %5.1f, %llu disturbances\n",
           setup->title, detector_ns, plain_ns, detector_ns / plain_ns,
           (unsigned long long)disturbances);
    for (size_t a = 0; a < setup->axes; a++) {
        free(counts[a]);
    }
    return 0;
}

int main(int argc, char **argv)
{
    const size_t only = argc > 1 ? (size_t)atoi(argv[1]) : 0;
    static const struct setup setups[] = {
        {"three axes, 200 Hz, hum 100 sigma", "magnetic", 3, 200, 1500.0},
        {"one axis, 200 Hz, hum 100 sigma", "electric", 1, 200, 1500.0},
        {"three axes, 50 Hz, no mains band", "magnetic", 3, 50, 0.0},
        {"one level, 20 Hz", "sound", 1, 20, 0.0},
    };
    int failed = 0;
    for (size_t i = 0; i < sizeof setups / sizeof setups[0]; i++) {
        if (only == 0 || only == i + 1) {
            failed |= bench(&setups[i]);
        }
    }
    return failed;
}
