/* Three nodes of a house with a switching, a walk and a pulse, pushed into a pipeline; what comes
 * out as lines. Must never be included by product code, nor seed from a clock. Used by the
 * pipeline's tests. */
#ifndef ROOMWAKE_TESTS_UNIT_PIPELINE_RIG_H
#define ROOMWAKE_TESTS_UNIT_PIPELINE_RIG_H

#include "tests/unit/correlate/house.h"

#include "collector/pipeline/pipeline.h"

#define RATE_HZ 50
#define PERIOD_NS (1000000000 / RATE_HZ)
#define SECONDS 60
#define SAMPLES (RATE_HZ * SECONDS)
#define NODES 3
#define AXES 3
#define MOTION 3 /* channel index */
#define ELECTRIC 4
#define CHANNELS 5
#define FINE 4 /* electric samples for each magnetic one: 200 Hz, so that mains shows */
#define LINES_MAX 256

static struct house house;
static struct channel channels[CHANNELS];
static int32_t field[NODES][AXES][SAMPLES];
static int32_t voltage[NODES][SAMPLES * FINE];

static inline uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

/* About normal, sd 1: twelve uniform numbers. */
static inline double noise(uint64_t *state)
{
    double sum = -6.0;
    for (int i = 0; i < 12; i++) {
        sum += (double)(next_random(state) >> 11) / 9007199254740992.0;
    }
    return sum;
}

/* Counts of 1 nT: a still field with 10 nT of noise; at 48 s a pulse of 400 nT in all rooms. */
static inline void make_field(void)
{
    uint64_t random = 20240301;
    for (size_t node = 0; node < NODES; node++) {
        for (size_t axis = 0; axis < AXES; axis++) {
            for (size_t i = 0; i < SAMPLES; i++) {
                double t = (double)i / RATE_HZ;
                double pulse = t >= 48.0 && t < 48.6 ? 400.0 : 0.0;
                field[node][axis][i] =
                    (int32_t)lround(20000.0 + 10.0 * noise(&random) + (axis == 2 ? pulse : 0.0));
            }
        }
    }
}

/* Counts of 1 mV: mains of 100 mV that becomes 180 mV at 24 s in all rooms (switching), 5 mV of
 * noise, and 300 mV of the pulse. */
static inline void make_voltage(void)
{
    uint64_t random = 77;
    for (size_t node = 0; node < NODES; node++) {
        for (size_t i = 0; i < SAMPLES * FINE; i++) {
            double t = (double)i / (RATE_HZ * FINE);
            double pulse = t >= 48.0 && t < 48.6 ? 300.0 : 0.0;
            double mains = (t < 24.0 ? 100.0 : 180.0) *
                           sin(2.0 * 3.14159265358979 * 50.0 * t + 0.7 * (double)node);
            voltage[node][i] = (int32_t)lround(mains + pulse + 5.0 * noise(&random));
        }
    }
}

static inline int build(void **state)
{
    (void)state;
    static const char *const names[CHANNELS] = {"magnetic.x", "magnetic.y", "magnetic.z", "motion",
                                                "electric"};
    static const double rates_hz[CHANNELS] = {RATE_HZ, RATE_HZ, RATE_HZ, 0.0, RATE_HZ * FINE};
    static const int16_t exponents[CHANNELS] = {-9, -9, -9, 0, -3};
    struct error error;
    house_build(&house, NODES);
    house.site.baseline_s = 20.0;
    for (size_t i = 0; i < NODES; i++) {
        house.nodes[i].clock_error_s = 0.001;
    }
    for (size_t i = 0; i < CHANNELS; i++) {
        if (channel_init(&channels[i], names[i], NULL, rates_hz[i], &error)) {
            return -1;
        }
        channels[i].step = (struct decimal){1, exponents[i]};
    }
    make_voltage();
    make_field();
    return 0;
}

struct told {
    size_t count;
    char lines[LINES_MAX][192];
    struct heard heard;
    size_t notices;
};

static inline void add_line(struct told *told, const char *line)
{
    assert_true(told->count < LINES_MAX);
    snprintf(told->lines[told->count++], sizeof told->lines[0], "%s", line);
}

static inline void on_disturbance(void *context, const struct disturbance *d)
{
    char line[192];
    snprintf(line, sizeof line, "open %lld %u %s %d %lld %lld", (long long)d->id, (unsigned)d->node,
             d->quantity_text, (int)d->band, (long long)d->onset_ns, (long long)d->clock_sd_ns);
    add_line(context, line);
}

static inline void on_ended(void *context, const struct disturbance *d)
{
    char line[192];
    snprintf(line, sizeof line, "end %lld %lld %.17g", (long long)d->id, (long long)d->end_ns,
             d->peak_score);
    add_line(context, line);
}

static inline void on_coincidence(void *context, const struct coincidence *c)
{
    struct told *told = context;
    char line[192];
    snprintf(line, sizeof line, "found %lld %s %s %zu %d %.17g %.17g", (long long)c->id,
             coincidence_kind_text(c->kind), cause_text(c->verdict.cause), c->member_count,
             c->final, c->chance.per_night, c->speed.value_m_s);
    add_line(told, line);
    heard_coincidence(&told->heard, c);
}

static inline void on_noticed(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                              const char *text)
{
    (void)node;
    (void)time_ns;
    assert_true(quantity[0] != '\0' && text[0] != '\0');
    ((struct told *)context)->notices++;
}

static inline struct pipeline *start_so(struct told *told, bool ahead)
{
    struct finding_sink sink = {told, on_disturbance, on_ended, on_coincidence, on_noticed, NULL};
    struct pipeline *pipeline = NULL;
    struct error error;
    memset(told, 0, sizeof *told);
    assert_int_equal(pipeline_new(&house.site, &sink, &pipeline, &error), 0);
    if (ahead) {
        assert_int_equal(pipeline_work_ahead(pipeline, &error), 0);
    }
    for (uint32_t node = 0; node < NODES; node++) {
        assert_int_equal(pipeline_set_channels(pipeline, node, channels, CHANNELS, &error), 0);
        assert_int_equal(pipeline_set_channels(pipeline, node, channels, CHANNELS, &error), 0);
    }
    return pipeline;
}

static inline struct pipeline *start(struct told *told)
{
    return start_so(told, false);
}

static inline int64_t sample_ns(size_t i)
{
    return HOUSE_T0 + (int64_t)i * PERIOD_NS;
}

static inline void push_axis(struct pipeline *pipeline, uint32_t node, uint16_t axis, size_t from,
                             size_t to)
{
    struct error error;
    struct block block = {.channel = axis,
                          .encoding = BLOCK_INT32,
                          .count = (uint32_t)(to - from),
                          .t0_ns = sample_ns(from),
                          .period_ps = INT64_C(1000) * PERIOD_NS,
                          .counts = &field[node][axis][from]};
    assert_int_equal(pipeline_push(pipeline, node, &block, &error), 0);
}

static inline void push_voltage(struct pipeline *pipeline, uint32_t node, size_t from, size_t to)
{
    struct error error;
    struct block block = {.channel = ELECTRIC,
                          .encoding = BLOCK_INT32,
                          .count = (uint32_t)((to - from) * FINE),
                          .t0_ns = sample_ns(from),
                          .period_ps = INT64_C(1000) * PERIOD_NS / FINE,
                          .counts = &voltage[node][from * FINE]};
    assert_int_equal(pipeline_push(pipeline, node, &block, &error), 0);
}

/* A walk: hall at 33 s, passage at 37 s, kitchen at 41 s, each seen for 2 s; all still before. */
static inline void push_motion(struct pipeline *pipeline, uint32_t node, size_t from, size_t to)
{
    static const int32_t values[3] = {0, 1, 0};
    const int64_t times[3] = {HOUSE_T0, at_s(33.0 + 4.0 * node), at_s(35.0 + 4.0 * node)};
    struct error error;
    for (size_t i = 0; i < 3; i++) {
        if (times[i] >= sample_ns(from) && times[i] < sample_ns(to)) {
            struct block block = {.channel = MOTION,
                                  .encoding = BLOCK_INT32,
                                  .count = 1,
                                  .t0_ns = times[i],
                                  .times_ns = &times[i],
                                  .counts = &values[i]};
            assert_int_equal(pipeline_push(pipeline, node, &block, &error), 0);
        }
    }
}

static inline void push_node(struct pipeline *pipeline, uint32_t node, size_t from, size_t to,
                             bool motion_first)
{
    struct error error;
    if (motion_first) {
        push_motion(pipeline, node, from, to);
    }
    for (uint16_t axis = 0; axis < AXES; axis++) {
        push_axis(pipeline, node, motion_first ? (uint16_t)(AXES - 1 - axis) : axis, from, to);
    }
    push_voltage(pipeline, node, from, to);
    if (!motion_first) {
        push_motion(pipeline, node, from, to);
    }
    assert_int_equal(pipeline_advance(pipeline, node, sample_ns(to), &error), 0);
}

static inline void finish(struct pipeline *pipeline)
{
    struct error error;
    assert_int_equal(pipeline_finish(pipeline, &error), 0);
    pipeline_free(pipeline);
}

static inline void run_by_seconds(struct told *told)
{
    struct pipeline *pipeline = start(told);
    for (size_t from = 0; from < SAMPLES; from += RATE_HZ) {
        for (uint32_t node = 0; node < NODES; node++) {
            push_node(pipeline, node, from, from + RATE_HZ, false);
        }
    }
    finish(pipeline);
}

static inline void same_lines(const struct told *a, const struct told *b)
{
    assert_int_equal(a->count, b->count);
    for (size_t i = 0; i < a->count; i++) {
        assert_string_equal(a->lines[i], b->lines[i]);
    }
}

#endif
