/* Site times of a node's blocks: strictly rising whatever the clock fit does. */
#include "tests/unit/test.h"

#include "collector/ingest/cook.h"
#include "common/clock.h"

static struct clock_fit fit_of(int64_t offset_ns, int64_t rate_ppt)
{
    return (struct clock_fit){.known = true, .offset_ns = offset_ns, .rate_ppt = rate_ppt};
}

/* 100 samples at 100 Hz from t0 on. */
static struct block even(int64_t t0_ns)
{
    return (struct block){
        .channel = 0, .count = 100, .t0_ns = t0_ns, .period_ps = 10 * 1000 * 1000 * INT64_C(1000)};
}

static void a_constant_fit_moves_times_by_its_offset_alone(void **state)
{
    (void)state;
    struct cook cook;
    struct block out;
    cook_init(&cook);
    struct clock_fit fit = fit_of(INT64_C(1700000000) * NS_PER_S, 0);
    for (int i = 0; i < 5; i++) {
        struct block in = even(i * NS_PER_S);
        cook_block(&cook, &fit, &in, NULL, &out);
        assert_int64_equal(out.t0_ns, in.t0_ns + fit.offset_ns);
        assert_int64_equal(out.period_ps, in.period_ps);
        assert_int64_equal(cook_until(&cook, &fit, (i + 1) * NS_PER_S),
                           (i + 1) * NS_PER_S + fit.offset_ns);
    }
}

static void the_period_follows_the_rate_of_the_fit(void **state)
{
    (void)state;
    struct cook cook;
    struct block out;
    struct block in = even(0);
    cook_init(&cook);
    struct clock_fit fit = fit_of(0, INT64_C(100000000)); /* 100 ppm */
    cook_block(&cook, &fit, &in, NULL, &out);
    assert_int64_equal(block_time_ns(&out, 99), clock_fit_site_ns(&fit, 990000000));
    assert_true(out.period_ps > in.period_ps);
}

static void a_fit_that_steps_back_never_takes_the_times_back(void **state)
{
    (void)state;
    for (int64_t step_ns = 1; step_ns <= 4 * NS_PER_S; step_ns = step_ns * 3 + 1) {
        struct cook cook;
        struct block out;
        int64_t last = INT64_MIN;
        int64_t until = INT64_MIN;
        cook_init(&cook);
        for (int i = 0; i < 12; i++) {
            struct clock_fit fit = fit_of(i < 2 ? 0 : -step_ns, 0);
            struct block in = even(i * NS_PER_S);
            cook_block(&cook, &fit, &in, NULL, &out);
            for (uint32_t k = 0; k < out.count; k++) {
                int64_t time = block_time_ns(&out, k);
                assert_true(time > last && time >= until);
                last = time;
            }
            until = cook_until(&cook, &fit, (i + 1) * NS_PER_S);
            assert_true(until > last);
        }
        /* Caught up: the last block is where the fit says. */
        assert_int64_equal(out.t0_ns, 11 * NS_PER_S - step_ns);
    }
}

static void explicit_times_rise_too_across_a_step_back(void **state)
{
    (void)state;
    struct cook cook;
    struct block out;
    int64_t node_times[] = {10, 20, 30};
    int64_t times[3];
    cook_init(&cook);
    struct block in = {.channel = 1, .count = 3, .t0_ns = 10, .times_ns = node_times};
    struct clock_fit fit = fit_of(1000, 0);
    cook_block(&cook, &fit, &in, times, &out);
    assert_int64_equal(times[2], 1030);
    fit = fit_of(995, 0);
    int64_t later[] = {31, 32, 60};
    in.times_ns = later;
    in.t0_ns = 31;
    cook_block(&cook, &fit, &in, times, &out);
    assert_int64_equal(times[0], 1031);
    assert_int64_equal(times[1], 1032);
    assert_int64_equal(times[2], 1055);
    assert_int64_equal(out.t0_ns, 1031);
}

static void without_a_fit_the_times_stay_the_nodes_own(void **state)
{
    (void)state;
    struct cook cook;
    struct block out;
    struct clock_fit fit = {.known = false, .offset_ns = 77};
    struct block in = even(5 * NS_PER_S);
    cook_init(&cook);
    cook_block(&cook, &fit, &in, NULL, &out);
    assert_int64_equal(out.t0_ns, 5 * NS_PER_S);
}

static void times_and_fits_near_the_ends_of_int64_are_refused(void **state)
{
    (void)state;
    struct error error;
    struct block in = even(0);
    struct clock_fit fit = fit_of(0, 0);
    assert_int_equal(cook_check(&fit, &in, 0, &error), 0);
    assert_int_equal(cook_check(&fit, &in, INT64_MAX, &error), -1);
    in.t0_ns = INT64_MAX;
    assert_int_equal(cook_check(&fit, &in, 0, &error), -1);
    in = even(0);
    in.period_ps = 999; /* would not rise by a nanosecond */
    assert_int_equal(cook_check(&fit, &in, 0, &error), -1);
    in = even(0);
    fit.offset_ns = INT64_MIN;
    assert_int_equal(cook_check(&fit, &in, 0, &error), -1);
    fit = fit_of(0, INT64_MAX);
    assert_int_equal(cook_check(&fit, &in, 0, &error), -1);
    fit = fit_of(0, 0);
    fit.uncertainty_ns = -1;
    assert_int_equal(cook_check(&fit, &in, 0, &error), -1);
    assert_error(error, ERROR_RANGE, "clock fit");
}

static void uncertainty_is_rounded_up_to_two_digits(void **state)
{
    (void)state;
    assert_int64_equal(cook_round_uncertainty(0), 0);
    assert_int64_equal(cook_round_uncertainty(99), 99);
    assert_int64_equal(cook_round_uncertainty(100), 100);
    assert_int64_equal(cook_round_uncertainty(101), 110);
    assert_int64_equal(cook_round_uncertainty(123456), 130000);
    assert_int64_equal(cook_round_uncertainty(991000), 1000000);
    assert_int64_equal(cook_round_uncertainty(120000), 120000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_constant_fit_moves_times_by_its_offset_alone),
        cmocka_unit_test(the_period_follows_the_rate_of_the_fit),
        cmocka_unit_test(a_fit_that_steps_back_never_takes_the_times_back),
        cmocka_unit_test(explicit_times_rise_too_across_a_step_back),
        cmocka_unit_test(without_a_fit_the_times_stay_the_nodes_own),
        cmocka_unit_test(times_and_fits_near_the_ends_of_int64_are_refused),
        cmocka_unit_test(uncertainty_is_rounded_up_to_two_digits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
