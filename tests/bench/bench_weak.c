/* How weak a disturbance may be to be found half of the time, at equal false rates: the detector, a
 * fixed level, a mean of 15 readings, short over long average, and the matched filter that knows
 * the shape. In dB over a sigma of noise. Events are rarer than the false onsets asked for: what
 * comes more often is taken for noise, by design. Must never run as part of the tests: it takes
 * minutes. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/detect/detector.h"
#include "tests/bench/rivals.h"

#define RATE 50.0
#define QUIET_S 1200.0
#define SPACING ((size_t)(3.0 * 3600.0 * RATE)) /* samples between two events */
#define EVENTS 30u
#define QUIET ((size_t)(QUIET_S * RATE))
#define NOISE_SAMPLES ((size_t)(96.0 * 3600.0 * RATE))
#define FALSE_PER_HOUR 1.0
#define SIGMA 200.0 /* counts */
#define SHAPE_MAX 1024u
/* A rival is run from here before an event, so that its averages have settled. */
#define BEFORE 4000u
#define AROUND (BEFORE + SHAPE_MAX + 64u)

struct shape {
    const char *name;
    size_t length;
    double (*value)(size_t i);
};

static double spike(size_t i)
{
    return i == 0 ? 1.0 : 0.0;
}
static double step(size_t i)
{
    return i < 1000 ? 1.0 : 0.0;
}
static double burst(size_t i)
{
    return i < 50 ? sin(2.0 * M_PI * 0.31 * (double)i + 0.4) : 0.0;
}
static double ramp(size_t i)
{
    return i < 250 ? (double)i / 250.0 : 0.0;
}
static double swell(size_t i)
{
    return i < 100 ? 0.5 - 0.5 * cos(2.0 * M_PI * (double)i / 100.0) : 0.0;
}
static double box_4(size_t i)
{
    return i < 4 ? 1.0 : 0.0;
}
static double box_16(size_t i)
{
    return i < 16 ? 1.0 : 0.0;
}
static double box_64(size_t i)
{
    return i < 64 ? 1.0 : 0.0;
}

static const struct shape shapes[] = {
    {"spike, one sample", 1, spike},   {"step, 20 s", 1000, step},
    {"burst, 1 s", 50, burst},         {"ramp, 5 s", 250, ramp},
    {"swell, 2 s", 100, swell},        {"pulse, 4 samples", 4, box_4},
    {"pulse, 16 samples", 16, box_16}, {"pulse, 64 samples", 64, box_64},
};

static uint64_t state;

static double uniform(void)
{
    uint64_t z = (state += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) * 0x1p-53;
}

static void fill_noise(double *x, size_t n, uint64_t seed)
{
    state = seed;
    for (size_t i = 0; i + 1 < n; i += 2) {
        double radius = sqrt(-2.0 * log(uniform()));
        double angle = 2.0 * M_PI * uniform();
        x[i] = radius * cos(angle);
        x[i + 1] = radius * sin(angle);
    }
}

static void add_events(double *x, const struct shape *shape, double height)
{
    for (size_t k = 0; k < EVENTS; k++) {
        size_t at = QUIET + 500 + k * SPACING + k % 97;
        for (size_t i = 0; i < shape->length; i++) {
            x[at + i] += height * shape->value(i);
        }
    }
}

enum method { METHOD_OURS, METHOD_LEVEL, METHOD_MEAN, METHOD_RATIO, METHOD_MATCHED, METHODS };

/* What a rival looks at, sample by sample. */
static void rival_curve(enum method method, const struct shape *shape, const double *x, size_t n,
                        double *out)
{
    if (method == METHOD_LEVEL) {
        for (size_t i = 0; i < n; i++) {
            out[i] = fabs(x[i]);
        }
    } else if (method == METHOD_MEAN) {
        rival_mean(x, n, 15, out);
    } else if (method == METHOD_RATIO) {
        rival_sta_lta(x, n, 0.5 * RATE, 30.0 * RATE, out);
    } else {
        double template[SHAPE_MAX];
        double squares = 0.0;
        for (size_t i = 0; i < shape->length; i++) {
            template[i] = shape->value(i);
            squares += template[i] * template[i];
        }
        for (size_t i = 0; i < n; i++) {
            double sum = 0.0;
            for (size_t k = 0; k < shape->length && i + 1 >= shape->length; k++) {
                sum += template[k] * x[i + 1 - shape->length + k];
            }
            out[i] = fabs(sum) / sqrt(squares);
        }
    }
}

/* Onsets above `level`, each at least a second after the one before was last above. */
static size_t count_onsets(const double *curve, size_t n, double level)
{
    size_t onsets = 0;
    size_t above = 0;
    bool any = false;
    for (size_t i = 0; i < n; i++) {
        if (curve[i] >= level) {
            onsets += !any || i - above > (size_t)RATE;
            above = i;
            any = true;
        }
    }
    return onsets;
}

/* The level that noise passes at the asked rate. */
static double fit_level(enum method method, const struct shape *shape, const double *noise,
                        double *curve, double onsets_per_hour)
{
    rival_curve(method, shape, noise, NOISE_SAMPLES, curve);
    double wanted = onsets_per_hour * (double)NOISE_SAMPLES / RATE / 3600.0;
    double low = 0.0;
    double high = 100.0;
    for (int step_count = 0; step_count < 40; step_count++) {
        double middle = 0.5 * (low + high);
        size_t onsets = count_onsets(curve, NOISE_SAMPLES, middle);
        *((double)onsets > wanted || (onsets == 0 && middle < 0.5) ? &low : &high) = middle;
    }
    return high;
}

struct found {
    size_t at[4096];
    size_t count;
};

static void on_opened(void *context, const struct disturbance *disturbance)
{
    struct found *found = context;
    if (found->count < 4096) {
        found->at[found->count++] = (size_t)((double)disturbance->onset_ns * 1e-9 * RATE + 0.5);
    }
}

static void run_ours(const double *x, size_t n, double baseline_s, struct found *found)
{
    static const uint16_t index = 0;
    static int32_t counts[4096];
    struct channel channel;
    struct error error;
    struct detector *detector;
    struct detector_settings settings = {
        .mains_hz = 50.0, .baseline_s = baseline_s, .false_onsets_per_hour = FALSE_PER_HOUR};
    struct detector_sink sink = {.context = found, .opened = on_opened};
    found->count = 0;
    if (channel_init(&channel, "glow", NULL, RATE, &error) != 0 ||
        detector_new(&settings, 0, &channel, &index, 1, &sink, &detector, &error) != 0) {
        fprintf(stderr, "bench_weak: %s\n", error.text);
        exit(1);
    }
    channel.step = (struct decimal){1, -3};
    for (size_t from = 0; from < n; from += 4000) {
        uint32_t count = (uint32_t)(n - from < 4000 ? n - from : 4000);
        for (uint32_t i = 0; i < count; i++) {
            counts[i] = (int32_t)lrint(SIGMA * x[from + i]);
        }
        struct block block = {.count = count,
                              .t0_ns = (int64_t)((double)from * 1e9 / RATE),
                              .period_ps = channel.period_ps,
                              .counts = counts};
        detector_push(detector, &block);
    }
    detector_finish(detector);
    detector_free(detector);
}

/* How many of the events have an onset within them. */
static size_t hits_ours(const struct found *found, const struct shape *shape)
{
    size_t hits = 0;
    for (size_t k = 0; k < EVENTS; k++) {
        size_t at = QUIET + 500 + k * SPACING + k % 97;
        bool hit = false;
        for (size_t i = 0; i < found->count; i++) {
            hit |= found->at[i] + 75 >= at && found->at[i] <= at + shape->length + 50;
        }
        hits += hit;
    }
    return hits;
}

static size_t hits_rival(enum method method, const double *x, double level,
                         const struct shape *shape)
{
    static double curve_part[AROUND];
    size_t hits = 0;
    for (size_t k = 0; k < EVENTS; k++) {
        size_t at = QUIET + 500 + k * SPACING + k % 97;
        size_t from = at - BEFORE;
        size_t n = BEFORE + shape->length + 50;
        bool hit = false;
        rival_curve(method, shape, x + from, n, curve_part);
        for (size_t i = BEFORE; i < n; i++) {
            hit |= curve_part[i] >= level;
        }
        hits += hit;
    }
    return hits;
}

static double *noise;
static double *curve;
static double *work;

/* The height at which half of the events are found. */
static double half_height(enum method method, const struct shape *shape, double level)
{
    static struct found found;
    size_t n = QUIET + 1000 + EVENTS * SPACING;
    double low = 0.02;
    double high = 12.0;
    for (int step_count = 0; step_count < 9; step_count++) {
        double middle = sqrt(low * high);
        memcpy(work, noise, n * sizeof *work);
        add_events(work, shape, middle);
        size_t hits;
        if (method == METHOD_OURS) {
            run_ours(work, n, QUIET_S, &found);
            hits = hits_ours(&found, shape);
        } else {
            hits = hits_rival(method, work, level, shape);
        }
        *(2 * hits >= EVENTS ? &high : &low) = middle;
    }
    return high;
}

int main(void)
{
    static const char *const names[METHODS] = {"detector", "5 sigma", "mean of 15", "short/long",
                                               "matched"};
    static struct found found;
    noise = malloc(NOISE_SAMPLES * sizeof *noise);
    curve = malloc(NOISE_SAMPLES * sizeof *curve);
    work = malloc(NOISE_SAMPLES * sizeof *work);
    if (!noise || !curve || !work) {
        return 1;
    }
    fill_noise(noise, NOISE_SAMPLES, 3);
    run_ours(noise, NOISE_SAMPLES, QUIET_S, &found);
    double hours = ((double)NOISE_SAMPLES / RATE - QUIET_S) / 3600.0;
    double rate = (double)found.count / hours;
    printf("asked %.1f false onsets an hour, the detector made %.2f; the others are set to that\n",
           FALSE_PER_HOUR, rate);
    printf("%-20s", "dB, half are found");
    for (int method = 0; method < METHODS; method++) {
        printf("%12s", names[method]);
    }
    printf("\n");
    for (size_t s = 0; s < sizeof shapes / sizeof shapes[0]; s++) {
        printf("%-20s", shapes[s].name);
        for (int method = 0; method < METHODS; method++) {
            double level = method == METHOD_OURS ? 0.0
                                                 : fit_level((enum method)method, &shapes[s], noise,
                                                             curve, fmax(rate, 0.2));
            printf("%12.1f", 20.0 * log10(half_height((enum method)method, &shapes[s], level)));
            fflush(stdout);
        }
        printf("\n");
    }
    free(noise);
    free(curve);
    free(work);
    return 0;
}
