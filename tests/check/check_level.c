/* A recording's level against what ITU-R BS.1770-4 (2015) publishes.
 * Must never be changed to fit what the code gives. */
#include "tests/unit/test.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

#include "collector/align/level.h"

#define PI 3.14159265358979323846
#define SECONDS 3

struct last {
    double loudness_db;
    double peak_db;
};

static int take(void *context, double own_s, double loudness_db, double peak_db,
                struct error *error)
{
    (void)own_s;
    (void)error;
    *(struct last *)context = (struct last){loudness_db, peak_db};
    return 0;
}

/* A sine of this amplitude, the same in `loud` of so many channels, silence in the others. */
static struct last level_of(double rate_hz, size_t channels, size_t loud, double hz,
                            double amplitude)
{
    struct last last = {0};
    struct level *level = NULL;
    struct error error;
    const size_t frames = (size_t)rate_hz * SECONDS;
    float *samples = calloc(frames * channels, sizeof *samples);
    assert_non_null(samples);
    for (size_t i = 0; i < frames; i++) {
        for (size_t c = 0; c < loud; c++) {
            samples[i * channels + c] = (float)(amplitude * sin(2 * PI * hz * (double)i / rate_hz));
        }
    }
    assert_int_equal(level_new(rate_hz, channels, take, &last, &level, &error), 0);
    assert_int_equal(level_push(level, samples, frames, &error), 0);
    level_free(level);
    free(samples);
    return last;
}

/* Annex 1: "If a 0 dB FS, 1 kHz (997 Hz to be exact) sine wave is applied to the left, centre, or
 * right channel input, the indicated loudness will equal -3.01 LKFS." */
static void a_full_scale_sine_of_997_hz_in_one_channel_is_minus_3_01(void **state)
{
    static const double rates[] = {44100, 48000, 96000};
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        /* The filters are published for 48 kHz; for other rates the EBU's 0.1 dB (Tech 3341). */
        const double within = rates[i] == 48000 ? 0.01 : 0.1;
        assert_close(level_of(rates[i], 1, 1, 997, 1).loudness_db, -3.01, within);
        assert_close(level_of(rates[i], 2, 1, 997, 1).loudness_db, -3.01, within);
        assert_close(level_of(rates[i], 1, 1, 997, 1).peak_db, 0, 0.01);
        assert_close(level_of(rates[i], 1, 1, 997, 0.1).loudness_db, -23.01, within);
    }
    /* Channels add as powers: four recorders' microphones are 6.02 dB louder than one. */
    assert_close(level_of(48000, 4, 4, 997, 1).loudness_db, 3.01, 0.01);
    assert_close(level_of(48000, 6, 1, 997, 1).loudness_db, -3.01, 0.01);
}

/* EBU Tech 3341 (2016), table 1, case 1: a stereo sine of 1000 Hz, -23.0 dBFS in both channels, is
 * -23.0 +- 0.1 LUFS, momentary too; case 2: -33.0. */
static void the_ebus_first_cases_are_met(void **state)
{
    (void)state;
    assert_close(level_of(48000, 2, 2, 1000, pow(10, -23.0 / 20)).loudness_db, -23, 0.1);
    assert_close(level_of(48000, 2, 2, 1000, pow(10, -33.0 / 20)).loudness_db, -33, 0.1);
}

static double response_db(const double b[3], const double a[3], double hz)
{
    double complex z = cexp(-I * 2 * PI * hz / 48000);
    return 20 * log10(cabs((b[0] + b[1] * z + b[2] * z * z) / (a[0] + a[1] * z + a[2] * z * z)));
}

/* Annex 1, tables 1 and 2: the coefficients of the two filters at 48 kHz; equation (2): the
 * loudness is -0.691 + 10 log10 of the filtered mean square. At other rates filters are to have the
 * same response: where the bilinear transform bends it near the top, within half a decibel. */
static void sines_of_all_pitches_are_weighted_as_the_tables_say(void **state)
{
    static const double shelf_b[] = {1.53512485958697, -2.69169618940638, 1.19839281085285};
    static const double shelf_a[] = {1, -1.69065929318241, 0.73248077421585};
    static const double high_b[] = {1, -2, 1};
    static const double high_a[] = {1, -1.99004745483398, 0.99007225036621};
    static const double pitches[] = {40, 100, 250, 997, 2000, 4000, 10000};
    (void)state;
    for (size_t i = 0; i < sizeof pitches / sizeof *pitches; i++) {
        double wanted = -0.691 - 10 * log10(2) + response_db(shelf_b, shelf_a, pitches[i]) +
                        response_db(high_b, high_a, pitches[i]);
        assert_close(level_of(48000, 1, 1, pitches[i], 1).loudness_db, wanted, 0.02);
        assert_close(level_of(44100, 1, 1, pitches[i], 1).loudness_db, wanted, 0.5);
        assert_close(level_of(96000, 1, 1, pitches[i], 1).loudness_db, wanted, 0.5);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_full_scale_sine_of_997_hz_in_one_channel_is_minus_3_01),
        cmocka_unit_test(the_ebus_first_cases_are_met),
        cmocka_unit_test(sines_of_all_pitches_are_weighted_as_the_tables_say),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
