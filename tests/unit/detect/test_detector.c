/* The detector's promises on single disturbances: found, timed, measured, closed, told in order.
 * Must never use a real recording or an unseeded number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "tests/unit/detect/rig.h"

#define RATE 100.0
#define QUIET_S 60.0
#define SIGMA 15.0

/* 100 s at 100 Hz of three quiet axes; mains falls on half the rate and is not watched. */
static void make_quiet(struct rig *rig, uint64_t seed)
{
    rig_init(rig, "magnetic", 3, RATE, 100.0, seed);
    rig_noise(rig, SIGMA, 20000.0);
}

static void test_nothing_is_told_of_a_quiet_stretch(void **state)
{
    (void)state;
    struct rig rig;
    make_quiet(&rig, 1);
    rig_detector(&rig, QUIET_S, 0.01);
    assert_false(detector_learnt(rig.detector));
    rig_run_all(&rig);
    assert_true(detector_learnt(rig.detector));
    assert_int_equal(rig.opened_count, 0);
    assert_int_equal(rig.notices, 1);
    assert_non_null(strstr(rig.notice, "noise 1"));
    assert_non_null(strstr(rig.notice, " nT (uncalibrated), threshold "));
    assert_non_null(strstr(rig.notice, "one false onset in 100 h"));
    assert_non_null(strstr(rig.notice, "mains can't be told apart at this rate"));
    rig_free(&rig);
}

static void test_a_spike_of_ten_sigma_is_one_sample_at_its_own_time(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct rig rig;
        make_quiet(&rig, seed);
        rig_add(&rig, 1, 8000, 8001, 10.0 * SIGMA);
        rig_detector(&rig, QUIET_S, 0.05);
        rig_run_all(&rig);
        assert_int_equal(rig.opened_count, 1);
        assert_int_equal(rig.closed_count, 1);
        const struct disturbance *it = &rig.closed[0];
        assert_int64_equal(it->onset_ns, rig_time(&rig, 8000));
        assert_int64_equal(it->end_ns, it->onset_ns);
        assert_int64_equal(it->peak_ns, it->onset_ns);
        assert_true(it->one_sample);
        assert_true(it->returned);
        assert_false(it->clipped);
        assert_int_equal(it->node, 7);
        assert_string_equal(it->quantity_text, "magnetic");
        assert_string_equal(it->unit, "T");
        assert_int_equal(it->band, BAND_REST);
        assert_close(it->baseline_scale, SIGMA * 1e-9, 0.1 * SIGMA * 1e-9);
        assert_close(it->baseline_value, sqrt(3.0) * 20000e-9, 5e-9);
        assert_true(it->peak_score > 7.0 && it->peak_score < 13.0);
        assert_close(it->peak_value, it->peak_score * it->baseline_scale, 1e-12);
        assert_true(isnan(it->mains_before));
        rig_free(&rig);
    }
}

static void test_a_step_is_timed_to_the_sample_and_told_before_it_ends(void **state)
{
    (void)state;
    size_t exact = 0;
    size_t ended = 0;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        struct rig rig;
        make_quiet(&rig, 100 + seed);
        rig_add(&rig, 0, 8000, 8200, 6.0 * SIGMA);
        rig_detector(&rig, QUIET_S, 0.05);
        rig_run(&rig, 0, 8100);
        assert_int_equal(rig.opened_count, 1);
        assert_int_equal(rig.closed_count, 0);
        assert_int64_equal(rig.opened[0].end_ns, 0);
        assert_close(rig.opened[0].settle_step, 6.0 * SIGMA * 1e-9, 1.5 * SIGMA * 1e-9);
        rig_run(&rig, 8100, rig.capacity);
        assert_int_equal(rig.opened_count, 1);
        assert_int_equal(rig.closed_count, 1);
        exact += llabs(rig.closed[0].onset_ns - rig_time(&rig, 8000)) <= 5000000;
        assert_close((double)(rig.closed[0].onset_ns - rig_time(&rig, 8000)), 0.0, 2.1e7);
        ended += llabs(rig.closed[0].end_ns - rig_time(&rig, 8199)) < 50000000;
        assert_true(rig.closed[0].closed_ns >= rig.closed[0].end_ns + RIG_SECOND / 2);
        assert_true(rig.closed[0].returned);
        assert_false(rig.closed[0].one_sample);
        rig_free(&rig);
    }
    assert_true(exact >= 16);
    /* Noise may prolong one now and then. */
    assert_true(ended >= 18);
}

static void test_weak_steps_of_ten_decibel_are_timed_within_their_uncertainty(void **state)
{
    (void)state;
    const double step = 3.1622776601683795;
    size_t found = 0;
    size_t within = 0;
    for (uint64_t seed = 1; seed <= 30; seed++) {
        struct rig rig;
        make_quiet(&rig, 200 + seed);
        rig_add(&rig, 2, 8000, 8400, step * SIGMA);
        rig_detector(&rig, QUIET_S, 60.0);
        rig_run_all(&rig);
        for (size_t k = 0; k < rig.closed_count; k++) {
            double off = (double)(rig.closed[k].onset_ns - rig_time(&rig, 8000));
            double sd =
                hypot((double)rig.closed[k].pick_sd_ns, (double)rig.closed[k].sampling_sd_ns);
            if (fabs(off) < 0.5e9) {
                found++;
                within += fabs(off) < 3.0 * sd;
            }
        }
        rig_free(&rig);
    }
    /* Some rise above the threshold only after the lookback is over: those come late. */
    assert_true(found >= 15);
    assert_true(within * 10 >= found * 7);
}

static void test_a_burst_is_timed_at_its_first_swing(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct rig rig;
        make_quiet(&rig, 300 + seed);
        for (size_t i = 8000; i < 8050; i++) {
            rig_add(&rig, 0, i, i + 1, 12.0 * SIGMA * sin(0.9 * (double)(i - 8000) + 1.0));
        }
        rig_detector(&rig, QUIET_S, 0.05);
        rig_run_all(&rig);
        assert_int_equal(rig.closed_count, 1);
        assert_close((double)(rig.closed[0].onset_ns - rig_time(&rig, 8000)), 0.0, 1.1e7);
        rig_free(&rig);
    }
}

static void test_two_events_three_seconds_apart_are_two(void **state)
{
    (void)state;
    struct rig rig;
    make_quiet(&rig, 400);
    rig_add(&rig, 0, 8000, 8020, 20.0 * SIGMA);
    rig_add(&rig, 0, 8300, 8320, 20.0 * SIGMA);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 2);
    assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 8000));
    assert_int64_equal(rig.closed[1].onset_ns, rig_time(&rig, 8300));
    rig_free(&rig);
}

static void test_a_new_level_that_stays_becomes_the_baseline(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "magnetic", 3, RATE, 160.0, 500);
    rig_noise(&rig, SIGMA, 20000.0);
    rig_add(&rig, 0, 8000, rig.capacity, 300.0 * SIGMA);
    rig_add(&rig, 0, 14000, 14010, -30.0 * SIGMA);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 2);
    assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 8000));
    assert_false(rig.closed[0].returned);
    int64_t held_ns = rig.closed[0].closed_ns - rig.closed[0].onset_ns;
    assert_true(held_ns > 29 * RIG_SECOND && held_ns < 33 * RIG_SECOND);
    assert_int64_equal(rig.closed[1].onset_ns, rig_time(&rig, 14000));
    assert_true(rig.closed[1].returned);
    rig_free(&rig);
}

static void test_turning_the_node_changes_nothing(void **state)
{
    (void)state;
    /* An exact rotation by 3-4-5 triangles, in counts 25 times as fine. */
    static const int turn[3][3] = {{15, -20, 0}, {12, 9, -20}, {16, 12, 15}};
    struct rig rig;
    struct rig turned;
    make_quiet(&rig, 600);
    rig_add(&rig, 0, 8000, 8040, 8.0 * SIGMA);
    rig_add(&rig, 1, 9000, 9001, 11.0 * SIGMA);
    rig_init(&turned, "magnetic", 3, RATE, 100.0, 0);
    for (size_t i = 0; i < rig.capacity; i++) {
        for (size_t a = 0; a < 3; a++) {
            int32_t sum = 0;
            for (size_t b = 0; b < 3; b++) {
                sum += turn[a][b] * rig.counts[b][i];
            }
            turned.counts[a][i] = sum;
            turned.channels[a].step = (struct decimal){4, -11};
        }
    }
    rig_detector(&rig, QUIET_S, 0.05);
    rig_detector(&turned, QUIET_S, 0.05);
    rig_run_all(&rig);
    rig_run_all(&turned);
    assert_int_equal(rig.closed_count, 2);
    assert_int_equal(turned.closed_count, 2);
    for (size_t k = 0; k < 2; k++) {
        const struct disturbance *plain = &rig.closed[k];
        const struct disturbance *other = &turned.closed[k];
        assert_int64_equal(other->onset_ns, plain->onset_ns);
        assert_int64_equal(other->end_ns, plain->end_ns);
        assert_close(other->peak_score, plain->peak_score, 1e-3 * plain->peak_score);
        assert_close(other->threshold, plain->threshold, 1e-3 * plain->threshold);
        assert_close(other->baseline_value, plain->baseline_value, 1e-6 * plain->baseline_value);
    }
    rig_free(&rig);
    rig_free(&turned);
}

static void test_a_flat_top_is_called_clipped(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "electric", 1, RATE, 100.0, 700);
    rig_noise(&rig, SIGMA, 0.0);
    rig_add(&rig, 0, 8000, 8030, 1000.0);
    for (size_t i = 8000; i < 8030; i++) {
        rig.counts[0][i] = rig.counts[0][i] > 900 ? 900 : rig.counts[0][i];
    }
    rig_add(&rig, 0, 9000, 9030, -700.0);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 2);
    assert_true(rig.closed[0].clipped);
    assert_true(rig.closed[0].peak_value > 0.0);
    assert_false(rig.closed[1].clipped);
    assert_true(rig.closed[1].peak_value < 0.0);
    assert_true(rig.closed[1].settle_step < 0.0);
    rig_free(&rig);
}

static void test_the_clock_uncertainty_at_the_onset_is_carried(void **state)
{
    (void)state;
    struct rig rig;
    make_quiet(&rig, 800);
    rig_add(&rig, 0, 8000, 8010, 20.0 * SIGMA);
    rig_detector(&rig, QUIET_S, 0.05);
    detector_set_clock(rig.detector, RIG_START, 2000000);
    detector_set_clock(rig.detector, rig_time(&rig, 7000), 300000);
    detector_set_clock(rig.detector, rig_time(&rig, 8005), 9000000);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].clock_sd_ns, 300000);
    assert_int64_equal(rig.closed[0].sampling_sd_ns, 2886751);
    assert_true(rig.closed[0].pick_sd_ns >= 1000000);
    rig_free(&rig);
}

static void test_wrong_settings_are_refused_by_name(void **state)
{
    (void)state;
    static const uint16_t indices[] = {0, 1, 2};
    struct rig rig;
    rig_init(&rig, "magnetic", 3, RATE, 1.0, 1);
    struct detector_settings settings = {.mains_hz = 50.0, .baseline_s = 600.0};
    struct detector_sink sink = {0};
    struct error error;
    struct detector *detector;
    assert_int_equal(detector_new(&settings, 1, rig.channels, indices, 3, &sink, &detector, &error),
                     -1);
    assert_error(error, ERROR_RANGE, "false_onsets_per_hour");
    settings.false_onsets_per_hour = 0.5;
    assert_int_equal(detector_new(&settings, 1, rig.channels, indices, 4, &sink, &detector, &error),
                     -1);
    assert_error(error, ERROR_USAGE, "4 axes");
    rig.channels[1].period_ps /= 2;
    assert_int_equal(detector_new(&settings, 1, rig.channels, indices, 3, &sink, &detector, &error),
                     -1);
    assert_error(error, ERROR_USAGE, "magnetic.y");
    rig_free(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_is_told_of_a_quiet_stretch),
        cmocka_unit_test(test_a_spike_of_ten_sigma_is_one_sample_at_its_own_time),
        cmocka_unit_test(test_a_step_is_timed_to_the_sample_and_told_before_it_ends),
        cmocka_unit_test(test_weak_steps_of_ten_decibel_are_timed_within_their_uncertainty),
        cmocka_unit_test(test_a_burst_is_timed_at_its_first_swing),
        cmocka_unit_test(test_two_events_three_seconds_apart_are_two),
        cmocka_unit_test(test_a_new_level_that_stays_becomes_the_baseline),
        cmocka_unit_test(test_turning_the_node_changes_nothing),
        cmocka_unit_test(test_a_flat_top_is_called_clipped),
        cmocka_unit_test(test_the_clock_uncertainty_at_the_onset_is_carried),
        cmocka_unit_test(test_wrong_settings_are_refused_by_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
