/* Counts, their dispersion and their limits. Sources: Garwood 1936, Biometrika 28:437 (limits);
 * Abramowitz & Stegun 1964, sec. 6.5 (incomplete gamma function); values computed with SciPy 1.10
 * (stats.poisson, stats.chi2); Sidak 1967, J. Am. Stat. Assoc. 62:626 (all citations from memory).
 */
#include "tests/unit/test.h"

#include "collector/correlate/poisson.h"

/* Hourly counts 3 5 2 8 1 4 6 3: mean 4, index 9.0, p 0.252656 with 7 degrees of freedom. */
static void counts_of_one_rate_are_not_called_bunched(void **state)
{
    (void)state;
    const uint32_t counts[8] = {3, 5, 2, 8, 1, 4, 6, 3};
    struct dispersion dispersion = poisson_dispersion(counts, 8);
    assert_close(dispersion.index, 9.0, 1e-12);
    assert_close(dispersion.p_value, 0.252656, 5e-7);
}

static void bunches_are_told(void **state)
{
    (void)state;
    const uint32_t bunched[8] = {0, 0, 30, 1, 0, 0, 1, 0};
    const uint32_t none[8] = {0};
    assert_true(poisson_dispersion(bunched, 8).p_value < 1e-20);
    assert_close(poisson_dispersion(none, 8).p_value, 1.0, 0.0);
    assert_close(poisson_dispersion(bunched, 1).p_value, 1.0, 0.0);
}

/* P(N >= k | mu) = 1 - Q(k, mu). */
static void tails_are_poissons(void **state)
{
    (void)state;
    assert_close(1.0 - poisson_gamma_upper(5.0, 2.0), 0.0526530, 5e-8);
    assert_close(1.0 - poisson_gamma_upper(3.0, 0.5), 0.0143877, 5e-8);
    assert_close(1.0 - poisson_gamma_upper(1.0, 0.0432), 0.042280, 5e-7);
}

static void limits_are_garwoods(void **state)
{
    (void)state;
    double low;
    double high;
    poisson_limits(5, 0.95, &low, &high);
    assert_close(low, 1.623486, 5e-7);
    assert_close(high, 11.668332, 5e-7);
    poisson_limits(0, 0.90, &low, &high); /* the one-sided 95 % limits */
    assert_close(low, 0.0, 0.0);
    assert_close(high, 2.995732, 5e-7);
    poisson_limits(3, 0.90, &low, &high);
    assert_close(high, 7.753657, 5e-7);
}

/* Chi-square: 3.841459 and 5.991465 are the 95 % points of 1 and 2 degrees of freedom; far tails
 * stay positive (SciPy). */
static void chi_square_tails_hold_near_and_far(void **state)
{
    (void)state;
    assert_close(poisson_chi_square_tail(3.841458820694124, 1), 0.05, 1e-12);
    assert_close(poisson_chi_square_tail(5.991464547107979, 2), 0.05, 1e-12);
    assert_close(poisson_chi_square_tail(100.0, 1) / 1.5239706048321052e-23, 1.0, 1e-9);
    assert_close(poisson_chi_square_tail(0.0, 3), 1.0, 0.0);
    assert_close(poisson_gamma_upper(1000.0, 1000.0), 0.4957947559, 1e-9);
}

/* 12 pairs at overall 1 %: 8.3718e-4 each, as slides_book takes it (computed). */
static void many_looks_share_their_error(void **state)
{
    (void)state;
    assert_close(-expm1(log1p(-0.01) / 12.0), 8.3718e-4, 5e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counts_of_one_rate_are_not_called_bunched),
        cmocka_unit_test(bunches_are_told),
        cmocka_unit_test(tails_are_poissons),
        cmocka_unit_test(limits_are_garwoods),
        cmocka_unit_test(chi_square_tails_hold_near_and_far),
        cmocka_unit_test(many_looks_share_their_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
