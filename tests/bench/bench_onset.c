/* How well onsets are picked: disturbances of 10 and 20 dB (mean square over the noise's variance)
 * that begin at a known sample, through the whole detector. Error and bias in samples, and how
 * often the true onset lies within what is stated. bench_onset [SEED]; 1 where not told. Must never
 * run as part of the tests: it asserts nothing. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "collector/detect/detector.h"
#include "common/clock.h"

#define RATE 100.0
#define QUIET_S 300.0
#define SPACING 6000u
#define EVENTS 500u
#define SAMPLES ((size_t)(QUIET_S * RATE) + 1000u + EVENTS * SPACING)
#define LENGTH 200u
#define SIGMA 200.0 /* counts */
/* What is picked so far off is another onset. */
#define NEAR 150.0

enum shape { SHAPE_NOISE, SHAPE_TONE, SHAPE_STEP, SHAPE_DECAY, SHAPES };
static const char *const names[SHAPES] = {"noise, 2 s", "9 Hz tone, 2 s", "step, 2 s",
                                          "step that decays, 0.4 s"};

static uint64_t state;

static double uniform(void)
{
    /* splitmix64 */
    uint64_t z = (state += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) * 0x1p-53;
}

static double normal(void)
{
    return sqrt(-2.0 * log(uniform())) * cos(2.0 * M_PI * uniform());
}

/* Its mean square over its first tenths of a second is 1. */
static double value_of(enum shape shape, size_t i, double phase)
{
    double t = (double)i / RATE;
    switch (shape) {
    case SHAPE_NOISE:
        return normal();
    case SHAPE_TONE:
        return sqrt(2.0) * sin(2.0 * M_PI * 9.0 * t + phase);
    case SHAPE_DECAY:
        return exp(-t / 0.4);
    default:
        return 1.0;
    }
}

static size_t start_of(size_t event)
{
    return (size_t)(QUIET_S * RATE) + 500 + event * SPACING + event % 97;
}

static void fill(double *x, enum shape shape, double height)
{
    for (size_t i = 0; i < SAMPLES; i++) {
        x[i] = normal();
    }
    for (size_t k = 0; k < EVENTS; k++) {
        double phase = 2.0 * M_PI * uniform();
        for (size_t i = 0; i < LENGTH; i++) {
            x[start_of(k) + i] += height * value_of(shape, i, phase);
        }
    }
}

struct picked {
    size_t count;
    double error[EVENTS]; /* samples, late is positive */
    double sd[EVENTS];    /* as stated */
    size_t next_event;    /* the first that has none yet */
};

/* The nearest event's, if it is the first near it: what swings may end and begin again. */
static void on_opened(void *context, const struct disturbance *disturbance)
{
    struct picked *picked = context;
    double at = (double)disturbance->onset_ns * 1e-9 * RATE;
    size_t event = (size_t)fmax(0.0, (at - (double)start_of(0)) / SPACING + 0.5);
    if (event < picked->next_event || event >= EVENTS ||
        fabs(at - (double)start_of(event)) > NEAR) {
        return;
    }
    picked->next_event = event + 1;
    picked->error[picked->count] = at - (double)start_of(event);
    picked->sd[picked->count] = (double)disturbance_onset_sd_ns(disturbance) * 1e-9 * RATE;
    picked->count++;
}

static int run(const double *x, struct picked *picked)
{
    static const uint16_t index = 0;
    static int32_t counts[4096];
    struct channel channel;
    struct error error;
    struct detector *detector;
    struct detector_settings settings = {
        .mains_hz = 50.0, .baseline_s = QUIET_S, .false_onsets_per_hour = 0.5};
    struct detector_sink sink = {.context = picked, .opened = on_opened};
    picked->count = 0;
    picked->next_event = 0;
    if (channel_init(&channel, "glow", NULL, RATE, &error) != 0 ||
        detector_new(&settings, 0, &channel, &index, 1, &sink, &detector, &error) != 0) {
        fprintf(stderr, "bench_onset: %s\n", error.text);
        return -1;
    }
    channel.step = (struct decimal){1, -3};
    for (size_t from = 0; from < SAMPLES; from += 4000) {
        uint32_t count = (uint32_t)(SAMPLES - from < 4000 ? SAMPLES - from : 4000);
        for (uint32_t i = 0; i < count; i++) {
            counts[i] = (int32_t)lrint(SIGMA * x[from + i]);
        }
        struct block block = {.count = count,
                              .t0_ns = llround((double)from * 1e9 / RATE),
                              .period_ps = channel.period_ps,
                              .counts = counts};
        detector_push(detector, &block);
    }
    detector_finish(detector);
    detector_free(detector);
    return 0;
}

static int by_size(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

static void print(enum shape shape, double decibels, const struct picked *picked)
{
    static double sorted[EVENTS];
    double n = (double)picked->count;
    double sum = 0.0;
    double squares = 0.0;
    size_t within[2] = {0, 0};
    for (size_t i = 0; i < picked->count; i++) {
        double error = picked->error[i];
        sorted[i] = fabs(error);
        sum += error;
        squares += error * error;
        within[0] += fabs(error) <= picked->sd[i];
        within[1] += fabs(error) <= 2.0 * picked->sd[i];
    }
    qsort(sorted, picked->count, sizeof *sorted, by_size);
    double mean = sum / n;
    printf("%-24s %3.0f dB  %3zu of %u  median %5.2f  90 %% %6.2f  bias %+6.2f +- %.2f  within "
           "1 sd %3.0f %%, 2 sd %3.0f %%\n",
           names[shape], decibels, picked->count, EVENTS, sorted[picked->count / 2],
           sorted[picked->count * 9 / 10], mean, sqrt(fmax(0.0, squares / n - mean * mean) / n),
           100.0 * (double)within[0] / n, 100.0 * (double)within[1] / n);
}

int main(int argc, char **argv)
{
    static struct picked picked;
    double *x = malloc(SAMPLES * sizeof *x);
    state = argc > 1 ? strtoull(argv[1], NULL, 10) : 1;
    printf("samples at %.0f a second; errors in samples\n", RATE);
    if (!x) {
        return 1;
    }
    for (enum shape shape = SHAPE_NOISE; shape < SHAPES; shape++) {
        for (double decibels = 10.0; decibels <= 20.0; decibels += 10.0) {
            fill(x, shape, pow(10.0, decibels / 20.0));
            if (run(x, &picked) != 0) {
                free(x);
                return 1;
            }
            if (picked.count > 0) {
                print(shape, decibels, &picked);
            }
        }
    }
    free(x);
    return 0;
}
