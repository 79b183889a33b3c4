/* A detector on a bench: seeded noise in, disturbances caught in a list.
 * Must never be included by product code. Used by the detector's tests. */
#ifndef ROOMWAKE_TESTS_UNIT_DETECT_RIG_H
#define ROOMWAKE_TESTS_UNIT_DETECT_RIG_H

#include "tests/unit/test.h"

#include "collector/detect/detector.h"

#define RIG_EVENTS 256
#define RIG_SECOND INT64_C(1000000000)
#define RIG_START (INT64_C(1700000000) * RIG_SECOND)

struct rig {
    struct channel channels[3];
    size_t axes;
    double rate_hz;
    size_t n; /* samples made so far */
    size_t capacity;
    int32_t *counts[3];
    struct detector *detector;
    struct disturbance opened[RIG_EVENTS];
    size_t opened_count;
    struct disturbance closed[RIG_EVENTS];
    size_t closed_count;
    char notice[400]; /* the last one */
    int64_t notice_ns;
    size_t notices;
    uint64_t random;
    bool has_spare;
    double spare;
};

static inline double rig_uniform(struct rig *rig)
{
    /* splitmix64 */
    uint64_t z = (rig->random += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) * 0x1p-53;
}

static inline double rig_normal(struct rig *rig)
{
    if (rig->has_spare) {
        rig->has_spare = false;
        return rig->spare;
    }
    double radius = sqrt(-2.0 * log(rig_uniform(rig)));
    double angle = 2.0 * M_PI * rig_uniform(rig);
    rig->spare = radius * sin(angle);
    rig->has_spare = true;
    return radius * cos(angle);
}

static inline void rig_on_opened(void *context, const struct disturbance *disturbance)
{
    struct rig *rig = context;
    assert_true(rig->opened_count < RIG_EVENTS);
    rig->opened[rig->opened_count++] = *disturbance;
}

static inline void rig_on_closed(void *context, const struct disturbance *disturbance)
{
    struct rig *rig = context;
    assert_true(rig->closed_count < RIG_EVENTS);
    rig->closed[rig->closed_count++] = *disturbance;
}

static inline void rig_on_noticed(void *context, int64_t time_ns, const char *text)
{
    struct rig *rig = context;
    rig->notice_ns = time_ns;
    snprintf(rig->notice, sizeof rig->notice, "%s", text);
    rig->notices++;
}

/* `seconds` of samples, all 0 so far. Steps are 1e-9 of the unit. */
static inline void rig_init(struct rig *rig, const char *quantity, size_t axes, double rate_hz,
                            double seconds, uint64_t seed)
{
    memset(rig, 0, sizeof *rig);
    rig->axes = axes;
    rig->rate_hz = rate_hz;
    rig->random = seed;
    rig->capacity = (size_t)(seconds * rate_hz);
    for (size_t a = 0; a < axes; a++) {
        char name[CHANNEL_NAME_SIZE];
        struct error error;
        snprintf(name, sizeof name, axes > 1 ? "%s.%c" : "%s", quantity, "xyz"[a]);
        assert_int_equal(channel_init(&rig->channels[a], name, NULL, rate_hz, &error), 0);
        rig->channels[a].step = (struct decimal){1, -9};
        rig->counts[a] = calloc(rig->capacity, sizeof *rig->counts[a]);
        assert_non_null(rig->counts[a]);
    }
}

static inline void rig_free(struct rig *rig)
{
    detector_free(rig->detector);
    rig->detector = NULL;
    for (size_t a = 0; a < rig->axes; a++) {
        free(rig->counts[a]);
        rig->counts[a] = NULL;
    }
}

/* A new detector and empty lists; the samples stay. */
static inline void rig_detector(struct rig *rig, double baseline_s, double onsets_per_hour)
{
    static const uint16_t indices[] = {0, 1, 2};
    struct detector_settings settings = {
        .mains_hz = 50.0, .baseline_s = baseline_s, .false_onsets_per_hour = onsets_per_hour};
    struct detector_sink sink = {rig, rig_on_opened, rig_on_closed, rig_on_noticed};
    struct error error;
    detector_free(rig->detector);
    rig->opened_count = rig->closed_count = rig->notices = 0;
    assert_int_equal(detector_new(&settings, 7, rig->channels, indices, rig->axes, &sink,
                                  &rig->detector, &error),
                     0);
}

/* Normal noise of `sigma` counts about `level` on every axis. */
static inline void rig_noise(struct rig *rig, double sigma, double level)
{
    for (size_t i = 0; i < rig->capacity; i++) {
        for (size_t a = 0; a < rig->axes; a++) {
            rig->counts[a][i] = (int32_t)lrint(level + sigma * rig_normal(rig));
        }
    }
}

/* Adds mains of `amplitude` counts on samples [from, to). */
static inline void rig_hum(struct rig *rig, double hz, double amplitude, size_t from, size_t to)
{
    for (size_t i = from; i < to; i++) {
        for (size_t a = 0; a < rig->axes; a++) {
            double angle = 2.0 * M_PI * hz * (double)i / rig->rate_hz + 1.3 * (double)a;
            rig->counts[a][i] += (int32_t)lrint(amplitude * sin(angle));
        }
    }
}

/* Adds a constant on axis `a` of samples [from, to). */
static inline void rig_add(struct rig *rig, size_t a, size_t from, size_t to, double value)
{
    for (size_t i = from; i < to; i++) {
        rig->counts[a][i] += (int32_t)lrint(value);
    }
}

static inline int64_t rig_time(const struct rig *rig, size_t i)
{
    return RIG_START + ((int64_t)i * rig->channels[0].period_ps + 500) / 1000;
}

static inline void rig_push(struct rig *rig, size_t a, size_t from, size_t to)
{
    struct block block = {.channel = (uint16_t)a,
                          .count = (uint32_t)(to - from),
                          .t0_ns = rig_time(rig, from),
                          .period_ps = rig->channels[0].period_ps,
                          .counts = rig->counts[a] + from};
    detector_push(rig->detector, &block);
}

/* Samples [from, to) in blocks of about a second, then advances to the last one's end. */
static inline void rig_run(struct rig *rig, size_t from, size_t to)
{
    size_t part = (size_t)ceil(rig->rate_hz);
    while (from < to) {
        size_t next = from + part < to ? from + part : to;
        for (size_t a = 0; a < rig->axes; a++) {
            rig_push(rig, a, from, next);
        }
        detector_advance(rig->detector, rig_time(rig, next));
        from = next;
    }
}

static inline void rig_run_all(struct rig *rig)
{
    rig_run(rig, 0, rig->capacity);
    detector_finish(rig->detector);
}

#endif
