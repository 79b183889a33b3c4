/* That a pipeline ends in an error, whichever allocation fails, and can always be freed. */
#include "tests/unit/fault/fault.h"

#include "collector/pipeline/pipeline.h"
#include "tests/unit/correlate/house.h"

#define NODES 3
#define RATE_HZ 64
#define SECONDS 32
#define PULSE_S 28
#define CHANNELS 2

static struct house house;
static struct channel channels[CHANNELS];
static int32_t voltage[NODES][RATE_HZ * SECONDS];

struct told {
    size_t disturbances;
    size_t coincidences;
};

static void on_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)disturbance;
    ((struct told *)context)->disturbances++;
}

static void on_ended(void *context, const struct disturbance *disturbance)
{
    (void)context;
    (void)disturbance;
}

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    ((struct told *)context)->coincidences += coincidence->final;
}

static void on_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                      const char *text)
{
    (void)context;
    (void)node;
    (void)quantity;
    (void)time_ns;
    (void)text;
}

static void on_chance(void *context, int64_t coincidence_id, const struct chance *chance)
{
    (void)context;
    (void)coincidence_id;
    (void)chance;
}

/* Counts of 1 mV: 5 mV of noise, and a pulse in all rooms. */
static int build(void **state)
{
    (void)state;
    struct error error;
    uint64_t random = 42;
    house_build(&house, NODES);
    house.site.baseline_s = 20.0;
    if (channel_init(&channels[0], "electric", NULL, RATE_HZ, &error) ||
        channel_init(&channels[1], "motion", NULL, 0.0, &error)) {
        return -1;
    }
    channels[0].step = (struct decimal){1, -3};
    for (size_t node = 0; node < NODES; node++) {
        for (size_t i = 0; i < RATE_HZ * SECONDS; i++) {
            random = random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            voltage[node][i] = (int32_t)(random >> 60) - 8 +
                               (i >= PULSE_S * RATE_HZ && i < (PULSE_S + 1) * RATE_HZ ? 400 : 0);
        }
    }
    return 0;
}

static int push_second(struct pipeline *pipeline, uint32_t node, int64_t second,
                       struct error *error)
{
    const int32_t *counts = &voltage[node][second * RATE_HZ];
    struct block block = {.count = RATE_HZ,
                          .t0_ns = HOUSE_T0 + second * INT64_C(1000000000),
                          .period_ps = INT64_C(1000000000000) / RATE_HZ,
                          .counts = counts};
    const int32_t moved = second >= PULSE_S;
    const int64_t time_ns = block.t0_ns + 1;
    struct block motion = {
        .channel = 1, .count = 1, .t0_ns = time_ns, .times_ns = &time_ns, .counts = &moved};
    if (pipeline_push(pipeline, node, &block, error) ||
        (second % 7 == 0 && pipeline_push(pipeline, node, &motion, error))) {
        return -1;
    }
    return pipeline_advance(pipeline, node, block.t0_ns + INT64_C(1000000000), error);
}

static int feed(struct pipeline *pipeline, struct error *error)
{
    const struct mark mark = {.id = 1, .start_ns = HOUSE_T0, .end_ns = HOUSE_T0 + 1};
    for (uint32_t node = 0; node < NODES; node++) {
        if (pipeline_set_channels(pipeline, node, channels, CHANNELS, error)) {
            return -1;
        }
        pipeline_set_clock(pipeline, node, HOUSE_T0, 1000000);
    }
    if (pipeline_mark(pipeline, &mark, error)) {
        return -1;
    }
    for (int64_t second = 0; second < SECONDS; second++) {
        for (uint32_t node = 0; node < NODES; node++) {
            if (push_second(pipeline, node, second, error)) {
                return -1;
            }
        }
    }
    return pipeline_finish(pipeline, error);
}

static int run(void *context, struct error *error)
{
    (void)context;
    struct told told = {0};
    struct pipeline *pipeline = NULL;
    const struct finding_sink sink = {&told,          on_disturbance, on_ended,
                                      on_coincidence, on_notice,      on_chance};
    if (pipeline_new(&house.site, &sink, &pipeline, error)) {
        return -1;
    }
    int result = feed(pipeline, error);
    pipeline_free(pipeline);
    if (result == 0) {
        assert_true(told.disturbances >= NODES);
        assert_true(told.coincidences >= 1);
    }
    return result;
}

static void a_pipeline_finds_what_there_is_or_says_that_memory_ran_out(void **state)
{
    (void)state;
    fault_each(run, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_pipeline_finds_what_there_is_or_says_that_memory_ran_out),
    };
    return cmocka_run_group_tests(tests, build, NULL);
}
