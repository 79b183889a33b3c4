/* The mains window against a Fourier transform by FFTW (libfftw3 3.3, single precision): random
 * samples with several tones, at rates that show the mains as it is and folded. Must never compare
 * with a transform of our own. Run by ctest. */
#include "tests/unit/test.h"

#include <complex.h>
#include <fftw3.h>

#include "collector/detect/alias.h"
#include "collector/detect/mains.h"

#define MAINS_HZ 50.0
#define SAMPLES 400
#define WINDOW_MOST 256

static uint64_t random_state = 88172645463325252u;

static double uniform(void)
{
    random_state ^= random_state << 13;
    random_state ^= random_state >> 7;
    random_state ^= random_state << 17;
    return (double)(random_state >> 11) * 0x1p-53 - 0.5;
}

static void make_samples(double rate_hz, double x[SAMPLES])
{
    for (size_t i = 0; i < SAMPLES; i++) {
        double t = (double)i / rate_hz;
        x[i] = uniform() + 2.0 * sin(2.0 * M_PI * MAINS_HZ * t + 0.3) +
               0.7 * sin(2.0 * M_PI * 3.0 * MAINS_HZ * t) + 1.5 * sin(2.0 * M_PI * 7.3 * t);
    }
}

/* |X| at the bin of `hz` over samples [from, from + window). */
static double transform(const double *x, size_t window, double hz, double rate_hz)
{
    float in[WINDOW_MOST];
    fftwf_complex out[WINDOW_MOST / 2 + 1];
    fftwf_plan plan = fftwf_plan_dft_r2c_1d((int)window, in, out, FFTW_ESTIMATE);
    assert_non_null(plan);
    for (size_t i = 0; i < window; i++) {
        in[i] = (float)x[i];
    }
    fftwf_execute(plan);
    fftwf_destroy_plan(plan);
    return (double)cabsf(out[lround(hz / rate_hz * (double)window)]);
}

static void the_mains_window_is_one_bin_of_fftws_transform(void **state)
{
    (void)state;
    static const double rates_hz[] = {80.0, 200.0, 250.0, 400.0, 1000.0};
    for (size_t r = 0; r < sizeof rates_hz / sizeof *rates_hz; r++) {
        double rate_hz = rates_hz[r];
        double x[SAMPLES];
        struct mains mains;
        make_samples(rate_hz, x);
        assert_int_equal(
            mains_init(&mains, MAINS_HZ, llround(1e12 / rate_hz), 1, HARMONIC_OF_FIELDS), 0);
        double folded_hz = alias_hz(MAINS_HZ, rate_hz);
        double cycles = folded_hz / rate_hz * (double)mains.window;
        assert_close(cycles, round(cycles), 1e-9); /* a bin of its own */
        for (size_t i = 0; i < SAMPLES; i++) {
            mains_feed(&mains, llround((double)i / rate_hz * 1e9), &x[i], 0);
            if (i + 1 < mains.window) {
                continue;
            }
            double ours = hypot(mains.sum_real[0], mains.sum_imaginary[0]);
            double theirs = transform(x + i + 1 - mains.window, mains.window, folded_hz, rate_hz);
            assert_close(ours, theirs, 2e-5 * (double)mains.window);
        }
        mains_free(&mains);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_mains_window_is_one_bin_of_fftws_transform),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
