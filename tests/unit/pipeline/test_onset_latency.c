/* A latency that a calibration found is taken off the onsets, and the order goes by it: through the
 * real detectors. Must never depend on a clock: seeded. */
#include "tests/unit/test.h"

#include <math.h>

#include "collector/pipeline/pipeline.h"
#include "common/clock.h"
#include "tests/unit/correlate/house.h"

#define NODES 2
#define RATE_HZ 100
#define PERIOD_NS (NS_PER_S / RATE_HZ)
#define SAMPLES (60 * RATE_HZ)
#define STEP_AT (45 * RATE_HZ)

static struct house house;
static int32_t field[NODES][SAMPLES];

static struct told {
    size_t disturbances;
    struct disturbance first[NODES]; /* of each node */
    size_t coincidences;
    struct coincidence last;
} heard;

static void on_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)context;
    if (heard.first[disturbance->node].onset_ns == 0) {
        heard.first[disturbance->node] = *disturbance;
    }
    heard.disturbances++;
}

static void on_ended(void *context, const struct disturbance *disturbance)
{
    (void)context;
    struct disturbance *opened = &heard.first[disturbance->node];
    assert_true(disturbance->end_ns >= disturbance->onset_ns);
    assert_true(disturbance->closed_ns >= disturbance->end_ns);
    if (disturbance->onset_ns == opened->onset_ns) {
        *opened = *disturbance;
    }
}

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    (void)context;
    heard.coincidences += coincidence->final;
    heard.last = *coincidence;
}

/* Noise, and a level for two seconds that each node's samples show so much late. */
static void fill(const double shown_s[NODES])
{
    uint64_t state = 77;
    for (uint32_t node = 0; node < NODES; node++) {
        size_t at = STEP_AT + (size_t)lround(shown_s[node] * RATE_HZ);
        for (size_t i = 0; i < SAMPLES; i++) {
            state = state * 6364136223846793005u + 1442695040888963407u;
            int32_t noise = (int32_t)(state >> 59) - 16;
            field[node][i] = noise + (i >= at && i < at + 2 * RATE_HZ ? 4000 : 0);
        }
    }
}

static struct channel make_channel(double latency_s, double latency_sd_s)
{
    struct channel channel;
    assert_int_equal(channel_init(&channel, "magnetic.x", NULL, RATE_HZ, NULL), 0);
    channel.step = (struct decimal){1, -9};
    if (!isnan(latency_s)) {
        channel.calibration = calibration_begin(HOUSE_T0);
        channel.calibration.latency_s = latency_s;
        channel.calibration.latency_sd_s = latency_sd_s;
    }
    return channel;
}

static void run(const double shown_s[NODES], double latency_s, double latency_sd_s, size_t cut)
{
    const struct finding_sink sink = {.disturbance = on_disturbance,
                                      .disturbance_ended = on_ended,
                                      .coincidence = on_coincidence};
    struct pipeline *pipeline = NULL;
    struct error error;
    memset(&heard, 0, sizeof heard);
    fill(shown_s);
    assert_int_equal(pipeline_new(&house.site, &sink, &pipeline, &error), 0);
    for (uint32_t node = 0; node < NODES; node++) {
        const struct channel channel =
            make_channel(node == 0 ? latency_s : (double)NAN, latency_sd_s);
        assert_int_equal(pipeline_set_channels(pipeline, node, &channel, 1, &error), 0);
        pipeline_set_clock(pipeline, node, INT64_MIN, 100000);
    }
    for (size_t from = 0; from < SAMPLES; from += cut) {
        size_t to = from + cut < SAMPLES ? from + cut : SAMPLES;
        for (uint32_t node = 0; node < NODES; node++) {
            const struct block block = {.encoding = BLOCK_INT32,
                                        .count = (uint32_t)(to - from),
                                        .t0_ns = HOUSE_T0 + (int64_t)from * PERIOD_NS,
                                        .period_ps = INT64_C(1000) * PERIOD_NS,
                                        .counts = &field[node][from]};
            assert_int_equal(pipeline_push(pipeline, node, &block, &error), 0);
        }
        for (uint32_t node = 0; node < NODES; node++) {
            assert_int_equal(
                pipeline_advance(pipeline, node, HOUSE_T0 + (int64_t)to * PERIOD_NS, &error), 0);
        }
    }
    assert_int_equal(pipeline_finish(pipeline, &error), 0);
    pipeline_free(pipeline);
    assert_int_equal(heard.coincidences, 1);
}

static double onset_s(uint32_t node)
{
    return (double)(heard.first[node].onset_ns - HOUSE_T0) * 1e-9 - (double)STEP_AT / RATE_HZ;
}

static void a_sensor_that_tells_late_is_believed_about_the_place_but_not_the_time(void **state)
{
    (void)state;
    /* n1's sensor is first by 60 ms, and tells 200 ms late: its samples show it second. */
    static const double shown_s[NODES] = {0.2, 0.06};
    run(shown_s, NAN, NAN, RATE_HZ);
    assert_true(heard.last.first_known && heard.last.order[0].node == 1);
    run(shown_s, 0.2, 0.002, RATE_HZ);
    assert_true(heard.last.first_known && heard.last.order[0].node == 0);
    assert_close(onset_s(0), 0.0, 0.02);
    assert_close(onset_s(1), 0.06, 0.02);
    /* All of it moves, so that the whole still fits together. */
    assert_close((double)(heard.first[0].end_ns - heard.first[0].onset_ns) * 1e-9, 2.0, 0.05);
    assert_in_range(heard.first[0].peak_ns, heard.first[0].onset_ns, heard.first[0].end_ns);
}

static void what_the_latency_is_uncertain_by_the_onset_is_too(void **state)
{
    (void)state;
    static const double shown_s[NODES] = {0.2, 0.06};
    run(shown_s, 0.2, 0.1, RATE_HZ);
    assert_true(heard.first[0].pick_sd_ns > 99000000 && heard.first[0].pick_sd_ns < 110000000);
    assert_false(heard.last.first_known); /* 60 ms are no order at 100 ms */
}

static void a_sensor_that_tells_before_the_other_is_moved_back(void **state)
{
    (void)state;
    static const double shown_s[NODES] = {0.0, 0.1};
    run(shown_s, -0.25, 0.002, RATE_HZ);
    assert_true(heard.last.first_known && heard.last.order[0].node == 1);
    assert_close(onset_s(0), 0.25, 0.02);
}

static void how_the_samples_are_cut_does_not_show(void **state)
{
    (void)state;
    static const double shown_s[NODES] = {0.2, 0.06};
    run(shown_s, 0.2, 0.002, RATE_HZ);
    const struct told before = heard;
    run(shown_s, 0.2, 0.002, 7);
    assert_int_equal(heard.disturbances, before.disturbances);
    for (int node = 0; node < NODES; node++) {
        assert_int64_equal(heard.first[node].onset_ns, before.first[node].onset_ns);
        assert_int64_equal(heard.first[node].end_ns, before.first[node].end_ns);
        assert_int64_equal(heard.first[node].closed_ns, before.first[node].closed_ns);
    }
    assert_close(heard.last.order[0].first_probability, before.last.order[0].first_probability,
                 1e-12);
}

static int build(void **state)
{
    (void)state;
    house_build(&house, NODES);
    house.site.baseline_s = 20;
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sensor_that_tells_late_is_believed_about_the_place_but_not_the_time),
        cmocka_unit_test(what_the_latency_is_uncertain_by_the_onset_is_too),
        cmocka_unit_test(a_sensor_that_tells_before_the_other_is_moved_back),
        cmocka_unit_test(how_the_samples_are_cut_does_not_show),
    };
    return cmocka_run_group_tests(tests, build, NULL);
}
