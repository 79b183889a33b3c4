/* What a disturbance tells of its shape: direction, rise, length, repetition, what it leaves,
 * ticks. Must never use a real recording or an unseeded number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "collector/detect/repeat.h"
#include "collector/detect/vector.h"
#include "tests/unit/detect/rig.h"

#define QUIET_S 60.0
#define SIGMA 15.0
#define STEP 1e-9

static void test_the_peak_has_its_direction_with_signs(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "magnetic", 3, 250.0, 80.0, 1);
    rig_noise(&rig, SIGMA, 20000.0);
    rig_hum(&rig, 50.0, 400.0, 0, rig.capacity);
    rig_add(&rig, 0, 17500, 17540, 900.0);
    rig_add(&rig, 1, 17500, 17540, -1800.0);
    rig_add(&rig, 2, 17500, 17540, 300.0);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_close(rig.closed[0].peak_axes[0], 900.0 * STEP, 6.0 * SIGMA * STEP);
    assert_close(rig.closed[0].peak_axes[1], -1800.0 * STEP, 6.0 * SIGMA * STEP);
    assert_close(rig.closed[0].peak_axes[2], 300.0 * STEP, 6.0 * SIGMA * STEP);
    assert_close(vector_length(rig.closed[0].peak_axes, 3), rig.closed[0].peak_value,
                 1e-9 * rig.closed[0].peak_value);
    rig_free(&rig);
}

static void test_rise_and_time_above_half_are_those_of_a_ramp(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "glow", 1, 250.0, 80.0, 2);
    rig_noise(&rig, SIGMA, 0.0);
    for (size_t i = 0; i < 250; i++) {
        rig.counts[0][17500 + i] -= (int32_t)(12.0 * (double)i);         /* one second down */
        rig.counts[0][17750 + i] -= (int32_t)(12.0 * (double)(250 - i)); /* and one up */
    }
    rig_add(&rig, 0, 18000, rig.capacity, 30.0);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    const struct disturbance *it = &rig.closed[0];
    assert_int_equal(rig.closed_count, 1);
    assert_close(it->peak_value, -3000.0 * STEP, 4.0 * SIGMA * STEP);
    assert_close(it->rise_s, 0.9, 0.08);
    assert_close(it->half_s, 1.0, 0.1);
    assert_close(it->left_value, 30.0 * STEP, 10.0 * STEP);
    assert_close(it->repeat_hz, 0.0, 0.0);
    rig_free(&rig);
}

/* A radio's frames of 120/26 ms, one slot of eight loud, appear at 33.3 Hz at 250 samples a second.
 */
static void test_frames_show_their_rate_at_its_alias(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "electric", 1, 250.0, 80.0, 3);
    rig_noise(&rig, SIGMA, 500.0);
    rig_hum(&rig, 50.0, 800.0, 0, rig.capacity);
    for (size_t i = 17500; i < 18000; i++) {
        double frames = (double)(i - 17500) / 250.0 / 0.120 * 26.0;
        double phase = frames - floor(frames);
        rig.counts[0][i] += (int32_t)(300.0 * exp(-3.0 * phase));
    }
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_close(rig.opened[0].repeat_hz, 33.333, 1.0);
    assert_close(rig.closed[0].repeat_hz, 33.333, 0.3);
    rig_free(&rig);
}

static void test_noise_pulses_and_mains_have_no_rate(void **state)
{
    (void)state;
    static double series[200];
    double *const x[] = {series};
    struct rig rig = {.random = 4};
    size_t found = 0;
    for (int run = 0; run < 2000; run++) {
        for (size_t i = 0; i < 200; i++) {
            series[i] = rig_normal(&rig);
        }
        found += repeat_find(x, 1, 200, 250.0, 50.0) > 0.0;
    }
    assert_true(found <= 2);
    for (size_t width = 3; width < 200; width += 7) {
        for (size_t i = 0; i < 200; i++) {
            series[i] = 100.0 * exp(-(double)i / (double)width) + rig_normal(&rig);
        }
        assert_close(repeat_find(x, 1, 200, 250.0, 50.0), 0.0, 0.0);
    }
    for (size_t i = 0; i < 200; i++) {
        series[i] = sin(2.0 * M_PI * 150.0 * (double)i / 250.0);
    }
    assert_close(repeat_find(x, 1, 200, 250.0, 50.0), 0.0, 0.0);
    for (size_t i = 0; i < 200; i++) {
        series[i] = sin(2.0 * M_PI * 83.0 * (double)i / 250.0);
    }
    assert_close(repeat_find(x, 1, 200, 250.0, 50.0), 83.0, 0.05);
    assert_close(repeat_find(x, 1, REPEAT_SAMPLES_MIN - 1, 250.0, 50.0), 0.0, 0.0);
}

static void test_what_ticks_evenly_is_counted(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "glow", 1, 250.0, 100.0, 5);
    rig_noise(&rig, SIGMA, 0.0);
    for (size_t k = 0; k < 6; k++) {
        rig_add(&rig, 0, 17500 + 300 * k, 17504 + 300 * k, 20.0 * SIGMA);
    }
    rig_add(&rig, 0, 20000, 20010, 20.0 * SIGMA);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.opened_count, 7);
    assert_close(rig.opened[0].previous_s, 0.0, 0.0);
    assert_close(rig.opened[1].previous_s, 1.2, 0.01);
    assert_int_equal(rig.opened[1].ticks, 0);
    for (size_t k = 2; k < 6; k++) {
        assert_int_equal(rig.opened[k].ticks, k + 1);
        assert_close(rig.opened[k].tick_s, 1.2, 0.01);
    }
    assert_int_equal(rig.opened[6].ticks, 0);
    assert_close(rig.opened[6].tick_s, 0.0, 0.0);
    rig_free(&rig);
}

/* Bursts of noise three times as loud begin before their loudest sample: how many of a hundred are
 * late by three stated sigmas and more than 50 ms (17 where only the mean of the samples around
 * counts). */
static void test_a_loud_sample_of_a_burst_is_seldom_taken_for_the_whole(void **state)
{
    (void)state;
    struct rig rig;
    size_t wrong = 0;
    rig_init(&rig, "glow", 1, 100.0, 30.0 * 101.0 + 60.0, 17);
    rig_noise(&rig, 15.0, 1000.0);
    for (size_t burst = 0; burst < 100; burst++) {
        size_t at = 9000 + 3000 * burst;
        for (size_t i = 0; i < 100; i++) {
            rig_add(&rig, 0, at + i, at + i + 1, 15.0 * 3.0 * rig_normal(&rig));
        }
    }
    rig_detector(&rig, 60.0, 0.5);
    rig_run_all(&rig);
    assert_true(rig.opened_count >= 100);
    for (size_t i = 0; i < rig.opened_count; i++) {
        const struct disturbance *it = &rig.opened[i];
        int64_t after_ns = (it->onset_ns - rig_time(&rig, 9000)) % (30 * RIG_SECOND);
        bool first = after_ns < RIG_SECOND / 2;
        wrong += first && after_ns > 3 * disturbance_onset_sd_ns(it) && after_ns > RIG_SECOND / 20;
    }
    assert_true(wrong <= 4);
    rig_free(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_peak_has_its_direction_with_signs),
        cmocka_unit_test(test_rise_and_time_above_half_are_those_of_a_ramp),
        cmocka_unit_test(test_frames_show_their_rate_at_its_alias),
        cmocka_unit_test(test_noise_pulses_and_mains_have_no_rate),
        cmocka_unit_test(test_what_ticks_evenly_is_counted),
        cmocka_unit_test(test_a_loud_sample_of_a_burst_is_seldom_taken_for_the_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
