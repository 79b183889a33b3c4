/* The mains band apart from the rest: told where it belongs, quiet where it should be.
 * Must never use a real recording or an unseeded number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "collector/detect/alias.h"
#include "collector/detect/mains.h"
#include "tests/unit/detect/rig.h"

#define QUIET_S 30.0
#define SIGMA 15.0
#define HUM 1500.0

static void make_humming(struct rig *rig, size_t axes, double rate_hz, uint64_t seed)
{
    rig_init(rig, axes == 1 ? "electric" : "magnetic", axes, rate_hz, 60.0, seed);
    rig_noise(rig, SIGMA, 20000.0);
    rig_hum(rig, 50.02, HUM, 0, rig->capacity);
}

static void test_a_load_is_told_in_the_mains_band_alone(void **state)
{
    (void)state;
    static const double rates[] = {200.0, 250.0, 133.0, 500.0};
    for (size_t r = 0; r < 4; r++) {
        struct rig rig;
        make_humming(&rig, 3, rates[r], 40 + r);
        size_t on = (size_t)(40.0 * rates[r]);
        size_t off = (size_t)(45.0 * rates[r]);
        rig_hum(&rig, 50.02, 0.5 * HUM, on, off);
        rig_detector(&rig, QUIET_S, 0.5);
        rig_run_all(&rig);
        assert_int_equal(rig.closed_count, 1);
        const struct disturbance *it = &rig.closed[0];
        assert_int_equal(it->band, BAND_MAINS);
        assert_close((double)(it->onset_ns - rig_time(&rig, on)), 0.0, 1.1e7);
        assert_true(it->returned);
        /* Three axes of equal amplitude. */
        double score = it->settle_peak_score;
        assert_true((double)it->pick_sd_ns >= 6e9 / (score * score) - 1.0); /* a weak step's */
        assert_close(it->mains_before, sqrt(3.0) * HUM * 1e-9, 0.02 * HUM * 1e-9);
        assert_close(it->mains_after, sqrt(3.0) * 1.5 * HUM * 1e-9, 0.02 * HUM * 1e-9);
        assert_close(it->settle_step, sqrt(3.0) * 0.5 * HUM * 1e-9, 0.1 * HUM * 1e-9);
        rig_free(&rig);
    }
}

static void test_a_small_load_is_not_missed(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 5; seed++) {
        struct rig rig;
        make_humming(&rig, 1, 200.0, 50 + seed);
        rig_hum(&rig, 50.02, 0.12 * HUM, 8000, rig.capacity);
        rig_detector(&rig, QUIET_S, 0.5);
        rig_run_all(&rig);
        assert_int_equal(rig.closed_count, 1);
        assert_int_equal(rig.closed[0].band, BAND_MAINS);
        double off = (double)(rig.closed[0].onset_ns - rig_time(&rig, 8000));
        assert_close(off, 0.0, 4.0 * (double)rig.closed[0].pick_sd_ns + 1e7);
        rig_free(&rig);
    }
}

static void test_what_any_supply_does_by_itself_is_not_told(void **state)
{
    (void)state;
    struct rig rig;
    make_humming(&rig, 1, 200.0, 57);
    rig_hum(&rig, 50.02, 0.03 * HUM, 8000, rig.capacity);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_int_equal(rig.opened_count, 0);
    rig_free(&rig);
}

static void test_a_spike_and_a_step_do_not_pass_for_mains(void **state)
{
    (void)state;
    struct rig rig;
    make_humming(&rig, 3, 200.0, 60);
    rig_add(&rig, 0, 7000, 7001, 500.0 * SIGMA);
    rig_add(&rig, 1, 8000, 8400, 200.0 * SIGMA);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 2);
    for (size_t k = 0; k < 2; k++) {
        assert_int_equal(rig.closed[k].band, BAND_REST);
        assert_int64_equal(rig.closed[k].onset_ns, rig_time(&rig, k == 0 ? 7000 : 8000));
        assert_close(rig.closed[k].mains_before, sqrt(3.0) * HUM * 1e-9, 0.02 * HUM * 1e-9);
    }
    assert_true(rig.closed[0].one_sample);
    rig_free(&rig);
}

static void test_a_step_and_a_load_at_once_are_told_in_both_bands(void **state)
{
    (void)state;
    struct rig rig;
    make_humming(&rig, 3, 200.0, 70);
    rig_add(&rig, 1, 8000, 9000, 40.0 * SIGMA);
    rig_hum(&rig, 50.02, 0.3 * HUM, 8000, 9000);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_int_equal(rig.opened_count, 2);
    assert_int_equal(rig.opened[0].band + rig.opened[1].band, BAND_REST + BAND_MAINS);
    for (size_t k = 0; k < 2; k++) {
        assert_close((double)(rig.opened[k].onset_ns - rig_time(&rig, 8000)), 0.0, 1.1e7);
    }
    rig_free(&rig);
}

static void test_a_spike_of_ten_sigma_shows_under_a_hundred_times_as_much_hum(void **state)
{
    (void)state;
    struct rig rig;
    make_humming(&rig, 3, 250.0, 80);
    rig_add(&rig, 2, 9000, 9001, 10.0 * SIGMA);
    rig_detector(&rig, QUIET_S, 0.5);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 9000));
    assert_close(rig.closed[0].baseline_scale, SIGMA * 1e-9, 0.1 * SIGMA * 1e-9);
    rig_free(&rig);
}

static void test_mains_is_called_measurable_only_where_it_is(void **state)
{
    (void)state;
    assert_false(mains_measurable(50.0, 50.0));
    assert_false(mains_measurable(50.0, 100.0));
    assert_false(mains_measurable(50.0, 99.0));
    assert_false(mains_measurable(50.0, 25.0));
    assert_false(mains_measurable(50.0, 10.0));
    assert_false(mains_measurable(60.0, 120.0));
    assert_true(mains_measurable(50.0, 60.0));
    assert_true(mains_measurable(50.0, 200.0));
    assert_true(mains_measurable(60.0, 200.0));
    assert_true(mains_measurable(50.0, 1000.0));
    assert_close(alias_hz(50.0, 60.0), 10.0, 1e-12);
    assert_close(alias_hz(50.0, 75.0), 25.0, 1e-12);
}

/* Hum that wavers by a twentieth, for seconds at a time, and four times as much of it from 120 s
 * on. */
static void test_a_supply_that_carries_more_may_waver_by_more(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "electric", 1, 200.0, 600.0, 91);
    rig_noise(&rig, 4.0, 20000.0);
    double waver = 0.0;
    for (size_t i = 0; i < rig.capacity; i++) {
        waver += (sqrt(2.0 * 400.0) * rig_normal(&rig) - waver) / 400.0;
        double amplitude = (i < 24000 ? 300.0 : 500.0) * (1.0 + 0.05 * waver);
        rig_add(&rig, 0, i, i + 1, amplitude * sin(2.0 * M_PI * 50.02 * (double)i / 200.0));
    }
    rig_detector(&rig, 60.0, 0.5);
    rig_run_all(&rig);
    size_t after = 0;
    for (size_t i = 0; i < rig.opened_count; i++) {
        after += rig.opened[i].onset_ns > rig_time(&rig, 24000) + 40 * RIG_SECOND;
    }
    assert_true(after <= 2); /* 4 where the noise is taken for what it was */
    rig_free(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_load_is_told_in_the_mains_band_alone),
        cmocka_unit_test(test_a_small_load_is_not_missed),
        cmocka_unit_test(test_what_any_supply_does_by_itself_is_not_told),
        cmocka_unit_test(test_a_spike_and_a_step_do_not_pass_for_mains),
        cmocka_unit_test(test_a_step_and_a_load_at_once_are_told_in_both_bands),
        cmocka_unit_test(test_a_spike_of_ten_sigma_shows_under_a_hundred_times_as_much_hum),
        cmocka_unit_test(test_mains_is_called_measurable_only_where_it_is),
        cmocka_unit_test(test_a_supply_that_carries_more_may_waver_by_more),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
