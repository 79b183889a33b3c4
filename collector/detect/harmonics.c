/* A phasor each, moved by what is left of every sample (least mean squares): a notch of a sixth of
 * a hertz. Must never follow what lasts less than a second. Called by mains.
 */
#include "collector/detect/harmonics.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "collector/detect/alias.h"

/* Widrow and others 1975, "Adaptive noise cancelling: principles and applications", Proc. IEEE 63,
 * 1692-1716: with a sine and a cosine as reference it is a notch, whose time constant is 2 / gain
 * samples. Our choice of seconds: long beside a disturbance, short beside a quiet spell. */
#define FOLLOW_S 1.0
#define GAIN_MOST 0.25
/* From nothing to the mains as it is: no longer than a band settles after a gap. */
#define ACQUIRE_S 0.4
/* So far apart that one notch doesn't take what is another's. */
#define APART_HZ 1.0

void harmonics_init(struct harmonics *harmonics, double mains_hz, double rate_hz, unsigned first)
{
    memset(harmonics, 0, sizeof *harmonics);
    harmonics->first = first;
    harmonics->gain_least = 2.0 / (FOLLOW_S * rate_hz);
    harmonics->sure = (uint64_t)(ACQUIRE_S * rate_hz);
    double taken[HARMONICS_MAX + 1] = {alias_hz(mains_hz, rate_hz)};
    for (unsigned place = 0; place < HARMONICS_MAX; place++) {
        double folded_hz = alias_hz((double)(first + 2 * place) * mains_hz, rate_hz);
        bool apart = folded_hz >= APART_HZ && 0.5 * rate_hz - folded_hz >= 0.5 * APART_HZ;
        for (size_t i = 0; i <= harmonics->count; i++) {
            apart = apart && fabs(folded_hz - taken[i]) >= APART_HZ;
        }
        if (apart) {
            harmonics->place[harmonics->count] = place;
            harmonics->count++;
            taken[harmonics->count] = folded_hz;
        }
    }
    harmonics_restart(harmonics);
}

void harmonics_restart(struct harmonics *harmonics)
{
    harmonics->seen = 0;
    harmonics->ahead_cosine = 1.0;
    harmonics->ahead_sine = 0.0;
    memset(harmonics->each, 0, sizeof harmonics->each);
}

/* Powers of the mains' own turn, the real one's. */
static void set_phases(struct harmonics *harmonics, double cosine, double sine)
{
    double c = cosine * harmonics->ahead_cosine - sine * harmonics->ahead_sine;
    double s = sine * harmonics->ahead_cosine + cosine * harmonics->ahead_sine;
    double twice_c = c * c - s * s;
    double twice_s = 2.0 * s * c;
    double now_c = harmonics->first == HARMONIC_OF_VIBRATION ? twice_c : c * twice_c - s * twice_s;
    double now_s = harmonics->first == HARMONIC_OF_VIBRATION ? twice_s : s * twice_c + c * twice_s;
    unsigned place = 0;
    for (size_t i = 0; i < harmonics->count; i++) {
        for (; place < harmonics->place[i]; place++) {
            double next_c = now_c * twice_c - now_s * twice_s;
            now_s = now_s * twice_c + now_c * twice_s;
            now_c = next_c;
        }
        harmonics->each[i].cosine = now_c;
        harmonics->each[i].sine = now_s;
    }
}

void harmonics_take_off(struct harmonics *harmonics, double cosine, double sine, double turn_cosine,
                        double turn_sine, double x[], size_t axes)
{
    double ahead = harmonics->ahead_cosine;
    harmonics->ahead_cosine = ahead * turn_cosine - harmonics->ahead_sine * turn_sine;
    harmonics->ahead_sine = harmonics->ahead_sine * turn_cosine + ahead * turn_sine;
    set_phases(harmonics, cosine, sine);
    for (size_t i = 0; i < harmonics->count; i++) {
        const struct harmonic *each = &harmonics->each[i];
        for (size_t a = 0; a < axes; a++) {
            x[a] -= each->real[a] * each->cosine - each->imaginary[a] * each->sine;
        }
    }
}

/* Of the first samples each counts as much as any other; later the newest count most. */
static double gain_now(struct harmonics *harmonics)
{
    harmonics->seen++;
    double gain = fmin(2.0 / (double)harmonics->seen, GAIN_MOST);
    return fmax(gain, harmonics->gain_least);
}

void harmonics_follow(struct harmonics *harmonics, const double off[], double bound, size_t axes)
{
    if (!(bound > 0.0)) {
        return;
    }
    double gain = gain_now(harmonics);
    if (harmonics->seen > harmonics->sure) {
        double length = vector_length(off, axes);
        gain = length > bound ? gain * bound / length : gain;
    }
    for (size_t i = 0; i < harmonics->count; i++) {
        struct harmonic *each = &harmonics->each[i];
        for (size_t a = 0; a < axes; a++) {
            each->real[a] += gain * off[a] * each->cosine;
            each->imaginary[a] -= gain * off[a] * each->sine;
        }
    }
}
