/* Chance by key and counter. */
#include "tests/unit/test.h"

#include "node/world/rng.h"

/* Wichura, Applied Statistics 37:477-484 (1988), AS 241: the check values printed with PPND16. */
static void the_quantile_gives_the_published_check_values(void **state)
{
    (void)state;
    assert_close(rng_normal_quantile(0.25), -0.6744897501960817, 1e-15);
    assert_close(rng_normal_quantile(0.001), -3.090232306167814, 4e-15);
    assert_close(rng_normal_quantile(1e-20), -9.262340089798408, 2e-14);
    assert_close(rng_normal_quantile(0.5), 0.0, 0.0);
}

static void gaussian_numbers_have_mean_0_and_deviation_1(void **state)
{
    (void)state;
    uint64_t key = rng_key(1, 2, 3);
    double sum = 0.0;
    double squares = 0.0;
    int beyond_2 = 0;
    const int n = 100000;
    for (int i = 0; i < n; i++) {
        double x = rng_gaussian(key, (uint64_t)i);
        sum += x;
        squares += x * x;
        beyond_2 += fabs(x) > 2.0;
    }
    assert_close(sum / n, 0.0, 4.0 / sqrt(n));
    assert_close(squares / n, 1.0, 4.0 * sqrt(2.0 / n));
    assert_close((double)beyond_2 / n, 0.0455, 0.003);
}

static void neighbours_in_the_counter_and_in_the_key_do_not_correlate(void **state)
{
    (void)state;
    uint64_t key = rng_key(1, 2, 3);
    uint64_t other = rng_key(1, 2, 4);
    double along = 0.0;
    double across = 0.0;
    const int n = 100000;
    for (uint64_t i = 0; i < (uint64_t)n; i++) {
        along += rng_gaussian(key, i) * rng_gaussian(key, i + 1);
        across += rng_gaussian(key, i) * rng_gaussian(other, i);
    }
    assert_close(along / n, 0.0, 4.0 / sqrt(n));
    assert_close(across / n, 0.0, 4.0 / sqrt(n));
}

static void the_same_key_and_counter_give_the_same_number_in_any_order(void **state)
{
    (void)state;
    double run[64] = {0};
    uint64_t key = rng_key_text(9, "n1");
    rng_add_gaussian(key, 100, 1.0, run, 64);
    for (uint64_t i = 64; i-- > 0;) {
        assert_true(run[i] == rng_gaussian(key, 100 + i));
    }
    assert_true(rng_key_text(9, "n1") != rng_key_text(9, "n2"));
    assert_true(rng_key_text(9, "n1") != rng_key_text(8, "n1"));
}

static void a_smooth_wander_has_no_steps(void **state)
{
    (void)state;
    uint64_t key = rng_key(5, 0, 0);
    double worst = 0.0;
    for (int i = -20000; i < 20000; i++) {
        double x = i / 1000.0;
        worst = fmax(worst, fabs(rng_smooth(key, x + 0.001) - rng_smooth(key, x)));
    }
    assert_true(worst > 0.0 && worst < 0.01);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_quantile_gives_the_published_check_values),
        cmocka_unit_test(gaussian_numbers_have_mean_0_and_deviation_1),
        cmocka_unit_test(neighbours_in_the_counter_and_in_the_key_do_not_correlate),
        cmocka_unit_test(the_same_key_and_counter_give_the_same_number_in_any_order),
        cmocka_unit_test(a_smooth_wander_has_no_steps),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
