/* The detector's arithmetic against published values: onset, robust scale, extremes, mains.
 * Must never be loosened without a reason beside the number. Run by ctest.
 */
#include "tests/unit/test.h"

#include "collector/detect/mains.h"
#include "collector/detect/onset.h"
#include "collector/detect/repeat.h"
#include "collector/detect/robust.h"
#include "collector/detect/tail.h"
#include "collector/detect/vector.h"

/* Maeda, "A method for reading and checking phase times in auto-processing system of seismic wave
 * data", Zisin 38 (1985), 365-379: AIC(k) = k ln var(x[1..k]) + (n-k-1) ln var(x[k+1..n]). The
 * example is exact arithmetic: +-1 for 120 samples, then +-8 for 80. */
static void test_aic_finds_an_exact_change_of_spread(void **state)
{
    (void)state;
    double values[200];
    double curve[200];
    for (size_t i = 0; i < 200; i++) {
        values[i] = (i % 2 ? 1.0 : -1.0) * (i < 120 ? 1.0 : 8.0);
    }
    const double *const x[] = {values};
    struct onset_pick pick;
    assert_true(onset_find(x, 1, 200, 2, 198, 0.0, curve, &pick));
    assert_int_equal(pick.index, 120);
    assert_close(curve[120], 79.0 * log(64.0), 1e-9);
    assert_close(curve[120], 328.5518, 1e-4);
}

/* The constant is 1 / Phi^-1(3/4). NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17, with
 * Iglewicz and Hoaglin's modified z (1993): 0.6745 (x - median) / MAD, flagged above 3.5. From
 * memory. */
static void test_robust_scale(void **state)
{
    (void)state;
    static const double data[] = {1, 1, 2, 2, 4, 6, 9};
    double values[7];
    memcpy(values, data, sizeof data);
    double median = robust_median(values, 7);
    assert_close(median, 2.0, 0.0);
    memcpy(values, data, sizeof data);
    double deviation = robust_deviation(values, 7, median);
    assert_close(deviation, 1.0, 0.0);
    assert_close(ROBUST_SCALE, 1.482602218505602, 1e-15);
    assert_close(vector_median_length(1), 1.0 / ROBUST_SCALE, 1e-15);
    assert_close(0.6745 * (9.0 - median) / deviation, 4.7215, 1e-9);
}

/* A length's distribution is chi's; medians are sqrt of chi-squared's (0.454936, 1.386294,
 * 2.365974; common statistical tables, from memory). */
static void test_lengths_of_noise_vectors(void **state)
{
    (void)state;
    static const double squares[] = {0.454936423, 1.386294361, 2.365973884};
    for (size_t dims = 1; dims <= 3; dims++) {
        double median = vector_median_length(dims);
        assert_close(median * median, squares[dims - 1], 1e-8);
        assert_close(vector_exceedance(median, dims), 0.5, 1e-9);
        double step = 1e-5;
        double slope = (vector_exceedance(2.0 - step, dims) - vector_exceedance(2.0 + step, dims)) /
                       (2.0 * step);
        assert_close(exp(vector_log_density(2.0, dims)), slope, 1e-8);
    }
}

/* Coles, An Introduction to Statistical Modeling of Extreme Values (2001), eq. 3.4. */
static void test_return_levels(void **state)
{
    (void)state;
    struct tail_gev gev = {.location = 10.0, .scale = 2.0, .shape = 0.0};
    assert_close(tail_return_level(&gev, 100.0), 19.200298, 1e-6);
    gev.shape = 0.2;
    assert_close(tail_return_level(&gev, 100.0), 25.093653, 1e-6);
    gev.shape = -0.2;
    assert_close(tail_return_level(&gev, 100.0), 16.014929, 1e-6);
}

static int compare(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

/* Coles (2001), sec. 3.4.1: annual maximum sea levels at Port Pirie, 1923-1987. The book prints
 * 3.87, 0.198, -0.050, log-likelihood 4.34, levels 4.30 and 4.69; further digits are from memory
 * and computed. */
static void test_port_pirie(void **state)
{
    (void)state;
    double levels[] = {
        4.03, 3.83, 3.65, 3.88, 4.01, 4.08, 4.18, 3.80, 4.36, 3.96, 3.98, 4.69, 3.85,
        3.96, 3.85, 3.93, 3.75, 3.63, 3.57, 4.25, 3.97, 4.05, 4.24, 4.22, 3.73, 4.37,
        4.06, 3.71, 3.96, 4.06, 4.55, 3.79, 3.89, 4.11, 3.85, 3.86, 3.86, 4.21, 4.01,
        4.11, 4.24, 3.96, 4.21, 3.74, 3.85, 3.88, 3.66, 4.11, 3.71, 4.18, 3.90, 3.78,
        3.91, 3.72, 4.00, 3.66, 3.62, 4.33, 4.55, 3.75, 4.08, 3.90, 3.88, 3.94, 4.33,
    };
    size_t n = sizeof levels / sizeof levels[0];
    assert_int_equal(n, 65);
    qsort(levels, n, sizeof levels[0], compare);
    struct tail_gev gev;
    assert_int_equal(tail_fit(levels, n, 0, 0.0, 0.0, &gev), 0);
    assert_close(gev.location, 3.87475, 1e-3);
    assert_close(gev.scale, 0.198044, 1e-3);
    assert_close(gev.shape, -0.050110, 1e-3);
    assert_close(tail_log_likelihood(&gev, levels, n, 0), 4.339058, 1e-4);
    assert_close(tail_return_level(&gev, 10.0), 4.2962, 1e-3);
    assert_close(tail_return_level(&gev, 100.0), 4.6884, 1e-3);
}

static double next_even(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ((double)(*state >> 11) + 0.5) * 0x1p-53;
}

/* As tail_fit() weighs it: the likelihood, and how odd the shape is. */
static double weigh(const struct tail_gev *gev, const double *sorted, size_t n, size_t censored,
                    double shape_sd)
{
    double off = (gev->shape + 0.08) / shape_sd;
    return tail_log_likelihood(gev, sorted, n, censored) - 0.5 * off * off;
}

/* Whatever maxima it is given, no point near by is likelier than what the fit ends at: its last
 * steps are Newton's, with derivatives that would lead elsewhere were one of them wrong. */
static void test_a_fitted_tail_is_the_likeliest(void **state)
{
    (void)state;
    static double maxima[600];
    uint64_t seed = 5;
    for (size_t round = 0; round < 200; round++) {
        size_t n = 40 + (size_t)(560.0 * next_even(&seed));
        size_t censored = round % 2 ? n / 10 : 0;
        double shape = 0.6 * next_even(&seed) - 0.3;
        double shape_sd = round % 3 ? 0.05 : 5.0;
        for (size_t i = 0; i < n; i++) {
            maxima[i] = 3.5 + 0.3 * (pow(-log(next_even(&seed)), -shape) - 1.0) / shape;
        }
        qsort(maxima, n, sizeof maxima[0], compare);
        struct tail_gev best;
        assert_int_equal(tail_fit(maxima, n, censored, -0.08, shape_sd, &best), 0);
        double most = weigh(&best, maxima, n, censored, shape_sd);
        for (int part = 0; part < 6; part++) {
            struct tail_gev other = best;
            double step = part % 2 ? 0.003 : -0.003;
            other.location += part / 2 == 0 ? step * best.scale : 0.0;
            other.scale *= part / 2 == 1 ? 1.0 + step : 1.0;
            other.shape += part / 2 == 2 ? step : 0.0;
            assert_true(weigh(&other, maxima, n, censored, shape_sd) < most + 1e-6);
        }
    }
}

/* With white normal noise the chosen threshold is the noise model's: asked once in T blocks of m
 * samples, the exceedance of one sample is 1 / (T m). Exact order statistics stand for the maxima.
 */
static void test_normal_maxima_choose_the_normal_quantile(void **state)
{
    (void)state;
    double maxima[200];
    for (size_t i = 0; i < 200; i++) {
        double below = pow(((double)i + 0.5) / 200.0, 1.0 / 250.0);
        double low = 0.0;
        double high = 10.0;
        for (int step = 0; step < 60; step++) {
            double middle = 0.5 * (low + high);
            *(1.0 - vector_exceedance(middle, 3) < below ? &low : &high) = middle;
        }
        maxima[i] = low;
    }
    struct tail_input input = {.maxima = maxima,
                               .blocks = 200,
                               .block_samples = 250.0,
                               .dims = 3,
                               .onsets_per_block = 1e-3,
                               .hold_samples = 25.0,
                               .scale_count = 1000000};
    struct tail_choice choice;
    tail_choose(&input, &choice);
    assert_int_equal(choice.kind, TAIL_NORMAL);
    double per_sample = vector_exceedance(choice.threshold, 3);
    assert_close(per_sample * 250.0 / 1e-3, 1.0, 0.1);
    assert_true(choice.release < choice.threshold);
    input.blocks = TAIL_BLOCKS_MIN - 1;
    tail_choose(&input, &choice);
    assert_int_equal(choice.kind, TAIL_SHORT);
    assert_close(vector_exceedance(choice.threshold, 3) * 250.0 / 1e-3, 1.0, 0.01);
}

/* The mains window is one bin of a discrete Fourier transform, as Goertzel (1958) computes it: 1000
 * samples a second, 200 of them, 2 sin(2 pi 50 t + 0.3) + 0.5 sin(2 pi 150 t): |X_10|^2 = 40000,
 * amplitude 2; nothing of the third harmonic. Computed. */
static void test_mains_amplitude_is_the_fourier_bin(void **state)
{
    (void)state;
    struct mains mains;
    struct history history;
    struct mains_centre centre = {.loud_squared = INFINITY};
    assert_int_equal(mains_init(&mains, 50.0, 1000000000, 1, HARMONIC_OF_FIELDS), 0);
    assert_int_equal(history_init(&history, 1, 1024, true), 0);
    assert_int_equal(mains.window, 200);
    mains.harmonics.count = 0; /* the window alone */
    for (int64_t i = 0; i < 1000; i++) {
        double t = (double)i * 1e-3;
        double x = 2.0 * sin(2.0 * M_PI * 50.0 * t + 0.3) + 0.5 * sin(2.0 * M_PI * 150.0 * t);
        mains_feed(&mains, i * 1000000, &x, 0);
        if (mains_ready(&mains, false) > 0) {
            mains_take(&mains, &centre, &history);
        }
        if (i == 199) {
            double power = mains.sum_real[0] * mains.sum_real[0] +
                           mains.sum_imaginary[0] * mains.sum_imaginary[0];
            assert_close(power, 40000.0, 0.04);
        }
    }
    assert_int_equal(history.end, 800);
    for (size_t i = 199; i < 800; i++) {
        double t = (double)i * 1e-3;
        assert_close(history.amplitude[i], 2.0, 2e-6);
        assert_close(history.rest[0][i], 0.5 * sin(2.0 * M_PI * 150.0 * t), 2e-6);
    }
    mains_free(&mains);
    history_free(&history);
}

/* Fisher, "Tests of significance in harmonic analysis", Proc. R. Soc. A 125 (1929), 54-59, table of
 * the largest of n shares that is exceeded once in twenty. From memory; his formula, which stands
 * there too, reproduces each to the digits shown. */
static void test_the_largest_line_of_a_periodogram(void **state)
{
    (void)state;
    static const struct {
        size_t bins;
        double share;
    } table[] = {{5, 0.68377}, {10, 0.44495}, {15, 0.33462}, {20, 0.27040}, {30, 0.19784}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        assert_close(repeat_chance(table[i].share, table[i].bins), 0.05, 1e-5);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_aic_finds_an_exact_change_of_spread),
        cmocka_unit_test(test_robust_scale),
        cmocka_unit_test(test_lengths_of_noise_vectors),
        cmocka_unit_test(test_return_levels),
        cmocka_unit_test(test_port_pirie),
        cmocka_unit_test(test_a_fitted_tail_is_the_likeliest),
        cmocka_unit_test(test_normal_maxima_choose_the_normal_quantile),
        cmocka_unit_test(test_mains_amplitude_is_the_fourier_bin),
        cmocka_unit_test(test_the_largest_line_of_a_periodogram),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
