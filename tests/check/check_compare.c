/* The comparison of nights against published formulas and SciPy.
 * Must never be changed to fit what the code gives. */
#include "tests/unit/test.h"

#include <math.h>

#include "collector/compare/rates.h"
#include "collector/compare/turned.h"

#define NIGHT_S 28800.0
#define NIGHTS 5

/* One event a night, so many nights in common: the p-value that the turning must give. */
static double turned_p(size_t common, double window_s, size_t *turns)
{
    double after_s[NIGHTS];
    struct turned_night nights[NIGHTS];
    struct turned_result result;
    struct error error;
    for (size_t i = 0; i < NIGHTS; i++) {
        after_s[i] = i < common ? 10000.0 : 12000.0 + 3000.0 * (double)i;
        nights[i] = (struct turned_night){50000, NIGHT_S, &after_s[i], 1};
    }
    assert_int_equal(turned_test(nights, NIGHTS, window_s, &result, &error), 0);
    assert_int_equal(result.nights, common);
    *turns = result.turns;
    return result.p_value;
}

/* Naus 1965, The distribution of the size of the maximum cluster of points on a line, J. Am. Stat.
 * Assoc. 60:532: of N points evenly on a line of length 1 all lie within some stretch of length w
 * with probability N w^(N-1) - (N-1) w^N; two of them do, for w < 1 / (N-1), with probability
 * 1 - (1 - (N-1) w)^N. */
static void the_turning_gives_the_scan_statistics_of_naus(void **state)
{
    static const double windows_s[] = {600, 1800, 3600, 7000};
    (void)state;
    for (size_t i = 0; i < 4; i++) {
        const double w = windows_s[i] / NIGHT_S;
        const double all = NIGHTS * pow(w, NIGHTS - 1) - (NIGHTS - 1) * pow(w, NIGHTS);
        const double two = 1 - pow(1 - (NIGHTS - 1) * w, NIGHTS);
        size_t turns = 0;
        double found = turned_p(NIGHTS, windows_s[i], &turns);
        /* Within four sigma of the turns that were made, and one turn. */
        assert_close(found, all, 4 * sqrt(all * (1 - all) / (double)turns) + 1.0 / (double)turns);
        if (windows_s[i] < 3000) { /* the others are that far apart */
            found = turned_p(2, windows_s[i], &turns);
            assert_close(found, two,
                         4 * sqrt(two * (1 - two) / (double)turns) + 1.0 / (double)turns);
        }
    }
}

/* scipy.stats.poisson.sf(count - 1, mean), SciPy 1.10.1. */
static void so_many_or_more_are_as_rare_as_poisson_says(void **state)
{
    (void)state;
    assert_close(rates_more(0, 0.3), 1, 0);
    assert_close(rates_more(1, 0.05), 0.04877057549928599, 1e-12);
    assert_close(rates_more(5, 1.3), 0.010663033771890939, 1e-12);
    assert_close(rates_more(12, 4.2), 0.0013738596159008673, 1e-12);
}

/* Garwood 1936, Biometrika 28:437, table of 95 % limits of a Poisson mean; to more digits
 * scipy.stats.chi2.ppf(0.025, 2 k) / 2 and ppf(0.975, 2 k + 2) / 2. */
static void rates_have_garwoods_limits(void **state)
{
    static const struct {
        uint64_t count;
        double low;
        double high;
    } table[] = {
        {0, 0, 3.68888}, {1, 0.025318, 5.57164}, {3, 0.618672, 8.76727}, {10, 4.79539, 18.39036}};
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        struct rate rate = rates_of(table[i].count, 2 * NIGHT_S);
        assert_close(rate.per_night, 0.5 * (double)table[i].count, 1e-12);
        assert_close(rate.low, 0.5 * table[i].low, 1e-5);
        assert_close(rate.high, 0.5 * table[i].high, 1e-5);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_turning_gives_the_scan_statistics_of_naus),
        cmocka_unit_test(so_many_or_more_are_as_rare_as_poisson_says),
        cmocka_unit_test(rates_have_garwoods_limits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
