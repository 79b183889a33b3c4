/* A sample leaves the mains windows: its remainder, the mains amplitude, and what may feign it.
 * Must never be called for a sample that is not ready. Called by field.
 */
#include <math.h>
#include <string.h>

#include "collector/detect/mains.h"

uint64_t mains_ready(const struct mains *mains, bool flush)
{
    uint64_t held = mains->fed - mains->done;
    if (!flush) {
        return held > mains->window ? held - mains->window : 0;
    }
    /* A run shorter than two windows says too little about the mains, nor then about the rest. */
    return mains->fed >= 2 * mains->window ? held : 0;
}

/* What is left of sample i when the mains is as over the window ending at `of`; `ahead` +1 where
 * that window is before the sample, -1 where after. Returns the squared distance from the centre.
 */
static inline double remainder_from(const struct mains *mains, uint64_t i, uint64_t of,
                                    double ahead, const struct mains_centre *centre, double rest[],
                                    size_t axes)
{
    size_t slot = i & mains->mask;
    size_t window = of & mains->mask;
    double turn = ahead * mains->ahead_sine;
    double c = mains->gain * (mains->cosine[slot] * mains->ahead_cosine - mains->sine[slot] * turn);
    double s = mains->gain * (mains->sine[slot] * mains->ahead_cosine + mains->cosine[slot] * turn);
    double squared = 0.0;
    for (size_t a = 0; a < axes; a++) {
        rest[a] =
            mains->x[a][slot] - (mains->real[a][window] * c - mains->imaginary[a][window] * s);
        double off = rest[a] - centre->location[a];
        squared += off * off;
    }
    return squared;
}

static void clear_loud(struct mains *mains)
{
    for (size_t a = 0; a < mains->axes; a++) {
        memset(mains->loud_real[a], 0, (mains->mask + 1) * sizeof(double));
        memset(mains->loud_imaginary[a], 0, (mains->mask + 1) * sizeof(double));
        mains->loud_sum_real[a] = 0.0;
        mains->loud_sum_imaginary[a] = 0.0;
    }
}

/* The amplitude that loud remainders of the last window would show as if they were mains. */
static double leak_at(struct mains *mains, uint64_t i, const struct mains_centre *centre,
                      const double rest[], double squared)
{
    bool loud = squared > centre->loud_squared;
    if (!loud && mains->loud_left == 0) {
        return 0.0;
    }
    if (mains->loud_left == 0) {
        clear_loud(mains);
    }
    mains->loud_left = loud ? mains->window : mains->loud_left - 1;
    size_t slot = i & mains->mask;
    size_t old = (i - mains->window) & mains->mask;
    double power = 0.0;
    for (size_t a = 0; a < mains->axes; a++) {
        double off = loud ? rest[a] - centre->location[a] : 0.0;
        double real = off * mains->cosine[slot];
        double imaginary = -off * mains->sine[slot];
        mains->loud_sum_real[a] += real - mains->loud_real[a][old];
        mains->loud_sum_imaginary[a] += imaginary - mains->loud_imaginary[a][old];
        mains->loud_real[a][slot] = real;
        mains->loud_imaginary[a][slot] = imaginary;
        power += mains->loud_sum_real[a] * mains->loud_sum_real[a] +
                 mains->loud_sum_imaginary[a] * mains->loud_sum_imaginary[a];
    }
    return mains->gain * sqrt(power);
}

static inline double amplitude_at(const struct mains *mains, uint64_t i, size_t axes)
{
    uint64_t full = i + 1 >= mains->window ? i : i + mains->window;
    size_t slot = full & mains->mask;
    double power = 0.0;
    for (size_t a = 0; a < axes; a++) {
        power += mains->real[a][slot] * mains->real[a][slot] +
                 mains->imaginary[a][slot] * mains->imaginary[a][slot];
    }
    return mains->gain * sqrt(power);
}

/* How far apart the mains of the windows before and after sample i are, as a squared amplitude. */
static inline double windows_apart(const struct mains *mains, uint64_t i, size_t axes)
{
    size_t before = (i - 1) & mains->mask;
    size_t after = (i + mains->window) & mains->mask;
    double c = mains->ahead_cosine * mains->ahead_cosine - mains->ahead_sine * mains->ahead_sine;
    double s = 2.0 * mains->ahead_cosine * mains->ahead_sine;
    double power = 0.0;
    for (size_t a = 0; a < axes; a++) {
        double br = mains->real[a][before];
        double bi = mains->imaginary[a][before];
        double real = mains->real[a][after] - (br * c - bi * s);
        double imaginary = mains->imaginary[a][after] - (bi * c + br * s);
        power += real * real + imaginary * imaginary;
    }
    return mains->gain * mains->gain * power;
}

/* The remainder that counts; returns its squared distance from the centre. */
static inline double choose_rest(const struct mains *mains, uint64_t i,
                                 const struct mains_centre *centre, double rest[], double past[],
                                 size_t axes)
{
    double after[VECTOR_AXES_MAX] = {0.0};
    bool has_before = i >= mains->window;
    bool has_after = i + mains->window < mains->fed;
    double squared = INFINITY;
    if (has_before) {
        squared = remainder_from(mains, i, i - 1, 1.0, centre, past, axes);
    }
    if (!has_after) {
        memcpy(rest, past, axes * sizeof *rest);
        return squared;
    }
    double after_squared = remainder_from(mains, i, i + mains->window, -1.0, centre, after, axes);
    if (!has_before) {
        memcpy(past, after, axes * sizeof *past);
    }
    if (has_before && windows_apart(mains, i, axes) < centre->steady_squared) {
        squared = 0.0;
        for (size_t a = 0; a < axes; a++) {
            rest[a] = 0.5 * (past[a] + after[a]);
            double off = rest[a] - centre->location[a];
            squared += off * off;
        }
        return squared;
    }
    bool use_past = squared < after_squared;
    memcpy(rest, use_past ? past : after, axes * sizeof *rest);
    return use_past ? squared : after_squared;
}

static inline void take_axes(struct mains *mains, const struct mains_centre *centre,
                             struct history *history, size_t axes)
{
    uint64_t i = mains->done++;
    size_t out = history->end++ & history->mask;
    double rest[VECTOR_AXES_MAX] = {0.0};
    double past[VECTOR_AXES_MAX] = {0.0};
    double squared = choose_rest(mains, i, centre, rest, past, axes);
    for (size_t a = 0; a < axes; a++) {
        history->rest[a][out] = rest[a];
        history->past[a][out] = past[a];
    }
    history->times[out] = mains->times[i & mains->mask];
    history->clipped[out] = mains->clipped[i & mains->mask];
    history->amplitude[out] = amplitude_at(mains, i, axes);
    history->leak[out] = leak_at(mains, i, centre, rest, squared);
}

void mains_take(struct mains *mains, const struct mains_centre *centre, struct history *history)
{
    if (mains->axes == 3) {
        take_axes(mains, centre, history, 3);
    } else if (mains->axes == 1) {
        take_axes(mains, centre, history, 1);
    } else {
        take_axes(mains, centre, history, mains->axes);
    }
}
