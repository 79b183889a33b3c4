/* The detector's parts on their own: medians, baseline, trigger, stay, onset, outbox, axes.
 * Must never use an unseeded number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "collector/detect/axes.h"
#include "collector/detect/baseline.h"
#include "collector/detect/level.h"
#include "collector/detect/onset.h"
#include "collector/detect/outbox.h"
#include "collector/detect/robust.h"
#include "collector/detect/stay.h"
#include "collector/detect/trigger.h"
#include "collector/detect/vector.h"
#include "tests/unit/detect/rig.h"

static int compare(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

static void test_the_median_is_the_sorted_middle_also_with_ties(void **state)
{
    (void)state;
    struct rig rig = {.random = 1};
    double values[200];
    double sorted[200];
    for (size_t round = 0; round < 300; round++) {
        size_t n = 1 + (size_t)(199.0 * rig_uniform(&rig));
        for (size_t i = 0; i < n; i++) {
            values[i] = round % 2 ? floor(5.0 * rig_uniform(&rig)) : rig_normal(&rig);
        }
        memcpy(sorted, values, n * sizeof *values);
        qsort(sorted, n, sizeof *sorted, compare);
        double middle = n % 2 ? sorted[n / 2] : 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]);
        assert_close(robust_median(values, n), middle, 0.0);
    }
}

static void test_the_middle_of_vectors_resists_a_third_of_wild_ones(void **state)
{
    (void)state;
    struct rig rig = {.random = 2};
    double x[3][90];
    double scratch[90];
    for (size_t i = 0; i < 90; i++) {
        for (size_t a = 0; a < 3; a++) {
            x[a][i] = i % 3 ? 5.0 + rig_normal(&rig) : 1e6;
        }
    }
    const double *const axes[] = {x[0], x[1], x[2]};
    double middle[3];
    vector_middle(axes, 3, 90, scratch, middle);
    for (size_t a = 0; a < 3; a++) {
        assert_close(middle[a], 5.0, 1.5);
    }
}

static void test_the_baseline_follows_drift_but_not_wild_samples(void **state)
{
    (void)state;
    struct rig rig = {.random = 3};
    struct baseline_tuning tuning = {.dims = 1,
                                     .location_samples = 1000.0,
                                     .batch = 64,
                                     .scale_samples = 5000.0,
                                     .block_samples = 64};
    struct baseline baseline;
    assert_int_equal(baseline_init(&baseline, &tuning), 0);
    double first[32];
    double scratch[32];
    for (size_t i = 0; i < 32; i++) {
        first[i] = rig_normal(&rig);
    }
    const double *const axes[] = {first};
    baseline_start(&baseline, axes, 32, scratch);
    for (size_t i = 0; i < 20000; i++) {
        double value = rig_normal(&rig) + 1e-4 * (double)i;
        value += i % 10 == 0 ? 100.0 : 0.0;
        double deviation = value - baseline.location[0];
        if (i < 5000) {
            baseline_learn(&baseline, &deviation, deviation * deviation);
        } else {
            baseline_take(&baseline, &deviation, deviation * deviation, 1);
        }
        if (i == 4999) {
            assert_int_equal(baseline_finish_learning(&baseline), 5000);
            assert_int_equal(baseline.memory.extremes.blocks, 78);
            assert_close(baseline.memory.extremes.maxima[7] * baseline.scale, 100.0, 6.0);
        }
    }
    assert_close(baseline.location[0], 2.0, 0.6);
    assert_close(baseline.scale, 1.15, 0.15);
    baseline_free(&baseline);
}

static void test_the_trigger_holds_before_it_calls_an_end(void **state)
{
    (void)state;
    static const struct {
        double score;
        enum trigger_event event;
        enum trigger_state state;
    } steps[] = {
        {5.9, TRIGGER_NONE, TRIGGER_QUIET},  {6.0, TRIGGER_RAISED, TRIGGER_UP},
        {5.0, TRIGGER_NONE, TRIGGER_UP},     {4.0, TRIGGER_NONE, TRIGGER_ENDING},
        {5.0, TRIGGER_NONE, TRIGGER_UP},     {1.0, TRIGGER_NONE, TRIGGER_ENDING},
        {1.0, TRIGGER_NONE, TRIGGER_ENDING}, {1.0, TRIGGER_RETURNED, TRIGGER_QUIET},
        {7.0, TRIGGER_RAISED, TRIGGER_UP},
    };
    struct trigger trigger = {.state = TRIGGER_QUIET, .high = 6.0, .low = 4.5, .hold_ns = 3};
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        assert_int_equal(trigger_step(&trigger, (int64_t)i, steps[i].score), steps[i].event);
        assert_int_equal(trigger.state, steps[i].state);
    }
    assert_int_equal(trigger.above_low, 1);
    trigger.state = TRIGGER_LEARNING;
    assert_int_equal(trigger_step(&trigger, 100, 50.0), TRIGGER_NONE);
}

static void test_a_level_stays_only_while_its_parts_agree(void **state)
{
    (void)state;
    struct stay stay;
    double level[3] = {0.0};
    stay_restart(&stay, 1, 4);
    uint32_t steady = 0;
    for (int64_t i = 0; i < 40; i++) {
        double value = (i < 10 ? 0.0 : 100.0) + (i % 2 ? 1.0 : -1.0);
        steady += stay_take(&stay, i, &value, 2.0);
    }
    assert_int_equal(stay.parts, 7);
    assert_int64_equal(stay.start_ns, 12);
    assert_close(stay_level(&stay, level), 1.0, 1e-9);
    assert_close(level[0], 100.0, 1e-9);
    assert_int_equal(steady, 7);
}

static void test_constant_samples_give_no_onset(void **state)
{
    (void)state;
    double values[50] = {0.0};
    double curve[50];
    const double *const x[] = {values};
    struct onset_pick pick;
    assert_false(onset_find(x, 1, 50, 0, 49, 0.0, curve, &pick));
    assert_true(onset_find(x, 1, 50, 0, 49, 1.0, curve, &pick));
}

static void test_a_weaker_onset_is_less_certain(void **state)
{
    (void)state;
    double sd[2] = {0.0};
    for (int strong = 0; strong < 2; strong++) {
        for (uint64_t seed = 1; seed <= 20; seed++) {
            struct rig rig = {.random = seed};
            double values[100];
            double curve[100];
            const double *const x[] = {values};
            struct onset_pick pick;
            for (size_t i = 0; i < 100; i++) {
                values[i] = rig_normal(&rig) + (i >= 60 ? (strong ? 10.0 : 1.5) : 0.0);
            }
            assert_true(onset_find(x, 1, 100, 2, 98, 0.01, curve, &pick));
            sd[strong] += pick.sd_samples / 20.0;
        }
    }
    assert_true(sd[1] < 0.1);
    assert_true(sd[0] > 1.0);
}

static void test_the_outbox_tells_in_order_of_onset(void **state)
{
    (void)state;
    struct rig rig;
    memset(&rig, 0, sizeof rig);
    struct outbox outbox;
    memset(&outbox, 0, sizeof outbox);
    outbox.sink = (struct detector_sink){&rig, rig_on_opened, rig_on_closed, NULL};
    struct disturbance late = {.onset_ns = 50, .band = BAND_REST};
    struct disturbance early = {.onset_ns = 20, .band = BAND_MAINS};
    outbox_open(&outbox, &late);
    outbox_open(&outbox, &early);
    outbox_release(&outbox, 20);
    assert_int_equal(rig.opened_count, 0);
    early.closed_ns = 70;
    outbox_close(&outbox, &early);
    outbox_release(&outbox, 51);
    assert_int_equal(rig.opened_count, 2);
    assert_int64_equal(rig.opened[0].onset_ns, 20);
    assert_int_equal(rig.closed_count, 1);
    late.closed_ns = 90;
    outbox_close(&outbox, &late);
    assert_int_equal(rig.closed_count, 2);
}

static void test_a_sample_without_partners_is_dropped(void **state)
{
    (void)state;
    static const uint16_t indices[] = {0, 1};
    struct rig rig;
    rig_init(&rig, "magnetic", 2, 10.0, 1.0, 1);
    struct axes axes;
    struct error error;
    struct axes_run run;
    assert_int_equal(axes_init(&axes, rig.channels, indices, 2, &error), 0);
    int64_t x_times[] = {0, 100000000, 200000000, 300000000};
    int64_t y_times[] = {110000000, 190000000, 320000000};
    int32_t counts[] = {1, 2, 3, 4};
    struct block x = {.channel = 0, .count = 4, .times_ns = x_times, .counts = counts};
    struct block y = {.channel = 1, .count = 3, .times_ns = y_times, .counts = counts};
    struct block other = {.channel = 5, .count = 3, .times_ns = y_times, .counts = counts};
    assert_int_equal(axes_push(&axes, &other, 0), 0);
    assert_int_equal(axes_push(&axes, &x, 0), 4);
    assert_false(axes_take(&axes, &run));
    assert_int_equal(axes_push(&axes, &y, 0), 3);
    assert_true(axes_take(&axes, &run));
    assert_int_equal(run.count, 3);
    assert_int64_equal(run.times[0], 100000000);
    assert_close(run.values[0][0], 2e-9, 0.0);
    assert_close(run.values[1][0], 1e-9, 0.0);
    assert_int_equal(axes.dropped, 1);
    assert_int_equal(axes_push(&axes, &x, 3), 1);
    axes_expire(&axes, 300000000);
    assert_int_equal(axes.dropped, 1);
    axes_expire(&axes, 400000000);
    assert_int_equal(axes.dropped, 2);
    axes_free(&axes);
    rig_free(&rig);
}

static void test_an_axis_far_ahead_loses_its_oldest_samples_only(void **state)
{
    (void)state;
    static const uint16_t indices[] = {0, 1};
    struct rig rig;
    rig_init(&rig, "magnetic", 2, 10.0, 6000.0, 1);
    struct axes axes;
    struct error error;
    struct axes_run run;
    assert_int_equal(axes_init(&axes, rig.channels, indices, 2, &error), 0);
    struct block block = {.count = 60000, .period_ps = 100000000000, .counts = rig.counts[0]};
    for (int k = 0; k < 4; k++) {
        block.t0_ns = (int64_t)k * 6000 * RIG_SECOND;
        assert_int_equal(axes_push(&axes, &block, 0), 60000);
    }
    block.channel = 1;
    assert_int_equal(axes_push(&axes, &block, 0), 60000);
    assert_true(axes_take(&axes, &run));
    assert_int_equal(run.count, 60000);
    assert_int64_equal(run.times[0], block.t0_ns);
    assert_int_equal(axes.dropped, 180000);
    axes_free(&axes);
    rig_free(&rig);
}

static void test_slow_paces_wait_for_two_samples(void **state)
{
    (void)state;
    struct pace pace;
    pace_for(1000000000000, 600.0, &pace);
    assert_true(pace.slow);
    assert_int64_equal(pace.settle_ns, 2 * RIG_SECOND);
    assert_int64_equal(pace.hold_ns, 2 * RIG_SECOND);
    pace_for(5000000000, 600.0, &pace);
    assert_false(pace.slow);
    assert_int64_equal(pace.settle_ns, DISTURBANCE_SETTLE_NS);
    assert_int64_equal(pace.hold_ns, RIG_SECOND / 2);
    assert_int64_equal(level_onset_sd_ns(1000, 10.0, 0.5, 0.0), 300);
    assert_int64_equal(level_onset_sd_ns(1000, 8.0, 6.0, 2.0), 2000);
    assert_int64_equal(level_onset_sd_ns(RIG_SECOND, 8.0, 8.0, 8.0), 15 * RIG_SECOND);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_median_is_the_sorted_middle_also_with_ties),
        cmocka_unit_test(test_the_middle_of_vectors_resists_a_third_of_wild_ones),
        cmocka_unit_test(test_the_baseline_follows_drift_but_not_wild_samples),
        cmocka_unit_test(test_the_trigger_holds_before_it_calls_an_end),
        cmocka_unit_test(test_a_level_stays_only_while_its_parts_agree),
        cmocka_unit_test(test_constant_samples_give_no_onset),
        cmocka_unit_test(test_a_weaker_onset_is_less_certain),
        cmocka_unit_test(test_the_outbox_tells_in_order_of_onset),
        cmocka_unit_test(test_a_sample_without_partners_is_dropped),
        cmocka_unit_test(test_an_axis_far_ahead_loses_its_oldest_samples_only),
        cmocka_unit_test(test_slow_paces_wait_for_two_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
