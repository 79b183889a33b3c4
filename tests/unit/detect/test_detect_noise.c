/* False onsets come about as often as was asked, whatever the noise.
 * Must never use a real recording or an unseeded number. Run by ctest.
 * Rates are asked high so that minutes tell.
 */
#include "tests/unit/test.h"

#include "tests/unit/detect/rig.h"

#define RATE 50.0
#define QUIET_S 300.0
#define ASKED 60.0 /* an hour */
#define LASTS_S 1500.0

/* Onsets an hour over a few seeds, less the quiet spells. */
static double count_rate(struct rig *rigs, size_t n)
{
    double onsets = 0.0;
    for (size_t k = 0; k < n; k++) {
        rig_detector(&rigs[k], QUIET_S, ASKED);
        rig_run_all(&rigs[k]);
        onsets += (double)rigs[k].opened_count;
        rig_free(&rigs[k]);
    }
    return onsets * 3600.0 / ((LASTS_S - QUIET_S) * (double)n);
}

static void test_normal_noise_on_three_axes(void **state)
{
    (void)state;
    struct rig rigs[3];
    for (size_t k = 0; k < 3; k++) {
        rig_init(&rigs[k], "magnetic", 3, RATE, LASTS_S, 10 + k);
        rig_noise(&rigs[k], 15.0, 20000.0);
    }
    double rate = count_rate(rigs, 3);
    assert_true(rate > ASKED / 2.0 && rate < ASKED * 2.0);
}

static void test_noise_that_drifts_at_random(void **state)
{
    (void)state;
    struct rig rigs[3];
    for (size_t k = 0; k < 3; k++) {
        double drift = 0.0;
        rig_init(&rigs[k], "glow", 1, RATE, LASTS_S, 20 + k);
        rig_noise(&rigs[k], 15.0, 20000.0);
        for (size_t i = 0; i < rigs[k].capacity; i++) {
            drift += 0.15 * rig_normal(&rigs[k]);
            rigs[k].counts[0][i] += (int32_t)lrint(drift);
        }
    }
    double rate = count_rate(rigs, 3);
    assert_true(rate > ASKED / 2.5 && rate < ASKED * 2.5);
}

static void test_noise_with_a_heavy_tail(void **state)
{
    (void)state;
    struct rig rigs[3];
    for (size_t k = 0; k < 3; k++) {
        rig_init(&rigs[k], "glow", 1, RATE, LASTS_S, 30 + k);
        for (size_t i = 0; i < rigs[k].capacity; i++) {
            double louder = rig_uniform(&rigs[k]) < 0.02 ? 3.0 : 1.0;
            rigs[k].counts[0][i] = (int32_t)lrint(15.0 * louder * rig_normal(&rigs[k]));
        }
    }
    double rate = count_rate(rigs, 3);
    assert_true(rate > ASKED / 2.5 && rate < ASKED * 2.5);
    assert_non_null(strstr(rigs[0].notice, "extremes"));
}

static void test_hum_a_hundred_times_the_noise(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "electric", 1, 250.0, LASTS_S, 40);
    rig_noise(&rig, 15.0, 0.0);
    rig_hum(&rig, 50.02, 1500.0, 0, rig.capacity);
    double rate = count_rate(&rig, 1);
    assert_true(rate > ASKED / 3.0 && rate < ASKED * 2.0);
}

static void test_a_disturbed_quiet_spell_does_not_deafen(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "magnetic", 3, RATE, 400.0, 50);
    rig_noise(&rig, 15.0, 20000.0);
    rig_add(&rig, 0, 5000, 5100, 3000.0);
    rig_add(&rig, 1, 9000, 9010, 900.0);
    rig_add(&rig, 2, 17000, 17001, 150.0);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 1);
    assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 17000));
    assert_non_null(strstr(rig.notice, "the quiet spell was disturbed"));
    rig_free(&rig);
}

/* Seconds of a quiet spell of 120 s that is disturbed for `part` of each 20 s until until_s. */
static double quiet_for_s(double part, double until_s, char notice[400])
{
    const double stated_s = 120.0;
    struct rig rig;
    rig_init(&rig, "glow", 1, RATE, 300.0, 51);
    rig_noise(&rig, 15.0, 0.0);
    for (double at_s = 10.0; at_s < until_s; at_s += 20.0) {
        size_t from = (size_t)(at_s * RATE);
        for (size_t i = from; i < from + (size_t)(20.0 * part * RATE); i += 7) {
            rig_add(&rig, 0, i, i + 1, 3000.0);
        }
    }
    rig_detector(&rig, stated_s, 0.5);
    rig_run_all(&rig);
    double lasted_s = (double)(rig.notice_ns - RIG_START) * 1e-9;
    assert_int_equal(rig.notices, 1);
    snprintf(notice, sizeof rig.notice, "%s", rig.notice);
    rig_free(&rig);
    return lasted_s;
}

static void test_a_quiet_spell_goes_on_for_as_long_as_it_was_disturbed(void **state)
{
    (void)state;
    char notice[400];
    assert_close(quiet_for_s(0.0, 0.0, notice), 120.0, 1.0);
    assert_null(strstr(notice, "disturbed"));
    assert_close(quiet_for_s(0.5, 70.0, notice), 157.0, 8.0); /* 3 of 10 s, in whole blocks */
    assert_non_null(strstr(notice, "it was disturbed, so it went on for"));
    /* What is disturbed without an end is not waited for: twice the time at most. */
    assert_close(quiet_for_s(0.6, 290.0, notice), 240.0, 1.0);
    assert_non_null(strstr(notice, "went on for 120 s more"));
}

static void test_a_step_within_the_quiet_spell_does_not_deafen(void **state)
{
    (void)state;
    static const size_t starts[] = {100, 3000, 12000};
    for (size_t k = 0; k < 3; k++) {
        struct rig rig;
        rig_init(&rig, "magnetic", 3, RATE, 400.0, 70 + k);
        rig_noise(&rig, 15.0, 20000.0);
        rig_add(&rig, 0, starts[k], rig.capacity, k == 1 ? 750.0 : 30000.0);
        rig_add(&rig, 2, 17000, 17001, 150.0);
        rig_detector(&rig, QUIET_S, 0.05);
        rig_run_all(&rig);
        assert_int_equal(rig.closed_count, 1);
        assert_int64_equal(rig.closed[0].onset_ns, rig_time(&rig, 17000));
        assert_close(rig.closed[0].baseline_scale, 15e-9, 1.5e-9);
        rig_free(&rig);
    }
}

static void test_louder_noise_that_stays_is_taken_for_usual(void **state)
{
    (void)state;
    struct rig rig;
    rig_init(&rig, "glow", 1, RATE, 1100.0, 60);
    rig_noise(&rig, 15.0, 0.0);
    for (size_t i = 20000; i < rig.capacity; i++) {
        rig.counts[0][i] *= 6;
    }
    rig_add(&rig, 0, 52000, 52010, 1500.0);
    rig_detector(&rig, QUIET_S, 0.05);
    rig_run_all(&rig);
    assert_int_equal(rig.closed_count, 2);
    assert_close((double)(rig.closed[0].onset_ns - rig_time(&rig, 20000)), 0.0, 1e8);
    assert_false(rig.closed[0].returned);
    assert_int64_equal(rig.closed[1].onset_ns, rig_time(&rig, 52000));
    assert_int_equal(rig.notices, 2);
    assert_non_null(strstr(rig.notice, "noise rose to"));
    rig_free(&rig);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_normal_noise_on_three_axes),
        cmocka_unit_test(test_noise_that_drifts_at_random),
        cmocka_unit_test(test_noise_with_a_heavy_tail),
        cmocka_unit_test(test_hum_a_hundred_times_the_noise),
        cmocka_unit_test(test_a_disturbed_quiet_spell_does_not_deafen),
        cmocka_unit_test(test_a_quiet_spell_goes_on_for_as_long_as_it_was_disturbed),
        cmocka_unit_test(test_a_step_within_the_quiet_spell_does_not_deafen),
        cmocka_unit_test(test_louder_noise_that_stays_is_taken_for_usual),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
