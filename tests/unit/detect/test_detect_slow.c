/* Slow channels: temperature and other levels, coarse steps, a stuck sensor, changes only.
 * Must never use a real recording or an unseeded number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "tests/unit/detect/rig.h"

#define QUIET_S 600.0

static void test_a_drop_of_temperature_is_seen_and_a_slow_night_is_not(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "glow", 1, 1.0, 4000.0, 1);
    rig_noise(&rig, 30.0, 20000.0);
    for (size_t i = 0; i < rig.capacity; i++) {
        /* 0.3 an hour, and a draught of 1.0 that comes within half a minute */
        double draught = i < 3000 ? 0.0 : -1000.0 * fmin(1.0, (double)(i - 3000) / 30.0);
        rig_add(&rig, 0, i, i + 1, draught - 300.0 * (double)i / 3600.0);
    }
    rig_detector(&rig, QUIET_S, 0.1);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    const struct disturbance *it = &rig.closed[0];
    double late_s = (double)(it->onset_ns - rig_time(&rig, 3000)) * 1e-9;
    assert_true(late_s >= 0.0 && late_s < 10.0);
    assert_true(late_s <= 2.5 * (double)it->pick_sd_ns * 1e-9);
    assert_true(it->peak_value < -800e-9);
    assert_false(it->one_sample);
    assert_true(strstr(rig.notice, "mains") == NULL);
    rig_free(&rig);
}

static void test_coarse_steps_are_not_noise_and_two_of_them_are_a_disturbance(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "glow", 1, 1.0, 2000.0, 2);
    for (size_t i = 0; i < rig.capacity; i++) {
        /* one step of 500 up and down now and then */
        rig.counts[0][i] = rig_uniform(&rig) < 0.05 ? 500 : 0;
    }
    rig_add(&rig, 0, 1500, 1520, 2000.0);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 1500));
    assert_true(rig.closed[0].baseline_scale >= 144e-9);
    rig_free(&rig);
}

static void test_a_stuck_sensor_has_no_endless_significance(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "glow", 1, 2.0, 900.0, 3);
    rig_add(&rig, 0, 0, rig.capacity, 1000.0);
    rig_add(&rig, 0, 1500, 1501, 1.0);
    rig_add(&rig, 0, 1600, 1601, 4.0);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 1600));
    assert_close(rig.closed[0].peak_score, 4.0 * sqrt(12.0), 0.02);
    rig_free(&rig);
}

static void test_the_last_digits_of_a_thermometer_are_no_finding(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "temperature", 1, 1.0, 1500.0, 6);
    rig.channels[0].step = (struct decimal){1, -4};
    rig_add(&rig, 0, 0, rig.capacity, 166250.0); /* 16.625 degrees, still all through the spell */
    rig_add(&rig, 0, 1000, 1010, 625.0);
    rig_add(&rig, 0, 1200, 1260, 5000.0);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 1200));
    rig_free(&rig);
}

static void test_a_level_that_tells_only_changes_is_held_between(void **state)
{
    (void)state;
    static const double seconds[] = {0.0, 100.0, 200.0, 300.0, 400.0, 500.0, 800.0, 830.0};
    static const int32_t counts[] = {20000, 20010, 20000, 19990, 20000, 20010, 21000, 20010};
    struct rig rig;
    rig_init(&rig, "glow", 1, 0.0, 0.0, 4);
    rig_detector(&rig, QUIET_S, 0.5);
    for (size_t i = 0; i < 8; i++) {
        int64_t time_ns = RIG_START + (int64_t)seconds[i] * RIG_SECOND;
        struct block block = {
            .count = 1, .t0_ns = time_ns, .times_ns = &time_ns, .counts = &counts[i]};
        detector_push(rig.detector, &block);
        detector_advance(rig.detector, time_ns);
    }
    detector_advance(rig.detector, RIG_START + 900 * RIG_SECOND);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, RIG_START + 800 * RIG_SECOND);
    assert_int64_equal(rig.closed[0].end_ns, RIG_START + 829 * RIG_SECOND);
    assert_true(rig.closed[0].returned);
    rig_free(&rig);
}

static void test_a_rate_unlike_the_one_told_is_said(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "temperature", 1, 10.0, 100.0, 5);
    rig_detector(&rig, 10.0, 0.5);
    for (size_t i = 0; i < 100; i++) {
        int64_t time_ns = RIG_START + (int64_t)i * RIG_SECOND;
        int32_t value = 1;
        struct block block = {.count = 1, .t0_ns = time_ns, .times_ns = &time_ns, .counts = &value};
        detector_push(rig.detector, &block);
    }
    assert_non_null(strstr(rig.notice, "unlike the 10 a second"));
    rig_free(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_drop_of_temperature_is_seen_and_a_slow_night_is_not),
        cmocka_unit_test(test_coarse_steps_are_not_noise_and_two_of_them_are_a_disturbance),
        cmocka_unit_test(test_a_stuck_sensor_has_no_endless_significance),
        cmocka_unit_test(test_the_last_digits_of_a_thermometer_are_no_finding),
        cmocka_unit_test(test_a_level_that_tells_only_changes_is_held_between),
        cmocka_unit_test(test_a_rate_unlike_the_one_told_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
