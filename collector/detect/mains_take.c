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

/* The mains of a window, turned from its middle to a sample: real * cosine - imaginary * sine. */
struct turned {
    double cosine;
    double sine;
};

/* By the window before a sample and by the one after. */
static inline void turn_to(const struct mains *mains, const struct mains_sample *sample,
                           struct turned *before, struct turned *after)
{
    double ahead_cosine = mains->gain * mains->ahead_cosine;
    double ahead_sine = mains->gain * mains->ahead_sine;
    double cc = sample->cosine * ahead_cosine;
    double ss = sample->sine * ahead_sine;
    double sc = sample->sine * ahead_cosine;
    double cs = sample->cosine * ahead_sine;
    *before = (struct turned){cc - ss, sc + cs};
    *after = (struct turned){cc + ss, sc - cs};
}

/* What is left of a sample when the mains is as over the window ending at `of`. Returns the squared
 * distance from the centre. */
static inline double remainder_from(const struct mains_sample *sample,
                                    const struct mains_sample *of, struct turned turned,
                                    const struct mains_centre *centre, double rest[], size_t axes)
{
    double squared = 0.0;
    for (size_t a = 0; a < axes; a++) {
        rest[a] = sample->x[a] - (of->real[a] * turned.cosine - of->imaginary[a] * turned.sine);
        double off = rest[a] - centre->location[a];
        squared += off * off;
    }
    return squared;
}

static void clear_loud(struct mains *mains)
{
    for (size_t a = 0; a < mains->axes && mains->loud_imaginary[a]; a++) {
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
        double real = off * mains->ring[slot].cosine;
        double imaginary = -off * mains->ring[slot].sine;
        mains->loud_sum_real[a] += real - mains->loud_real[a][old];
        mains->loud_sum_imaginary[a] += imaginary - mains->loud_imaginary[a][old];
        mains->loud_real[a][slot] = real;
        mains->loud_imaginary[a][slot] = imaginary;
        power += mains->loud_sum_real[a] * mains->loud_sum_real[a] +
                 mains->loud_sum_imaginary[a] * mains->loud_sum_imaginary[a];
    }
    return mains->gain * sqrt(power);
}

/* Of the window that ends at `of`. */
static inline double amplitude_over(const struct mains *mains, const struct mains_sample *of,
                                    size_t axes)
{
    double power = 0.0;
    for (size_t a = 0; a < axes; a++) {
        power += of->real[a] * of->real[a] + of->imaginary[a] * of->imaginary[a];
    }
    return mains->gain * sqrt(power);
}

/* How far apart the mains of the windows before and after a sample are, as a squared amplitude. */
static inline double windows_apart(const struct mains *mains, const struct mains_sample *before,
                                   const struct mains_sample *after, size_t axes)
{
    const double c = mains->across_cosine;
    const double s = mains->across_sine;
    double power = 0.0;
    for (size_t a = 0; a < axes; a++) {
        double real = after->real[a] - (before->real[a] * c - before->imaginary[a] * s);
        double imaginary = after->imaginary[a] - (before->imaginary[a] * c + before->real[a] * s);
        power += real * real + imaginary * imaginary;
    }
    return mains->gain * mains->gain * power;
}

/* The remainder that counts, and what is left by the window before alone; returns the former's
 * squared distance from the centre. */
static inline double choose_rest(const struct mains *mains, uint64_t i,
                                 const struct mains_centre *centre, double rest[], double past[],
                                 size_t axes)
{
    const struct mains_sample *ring = mains->ring;
    const struct mains_sample *sample = &ring[i & mains->mask];
    const struct mains_sample *before = &ring[(i - 1) & mains->mask];
    const struct mains_sample *after = &ring[(i + mains->window) & mains->mask];
    double next[VECTOR_AXES_MAX] = {0.0};
    bool has_before = i >= mains->window;
    bool has_after = i + mains->window < mains->fed;
    struct turned by_before;
    struct turned by_after;
    turn_to(mains, sample, &by_before, &by_after);
    double squared = INFINITY;
    if (has_before) {
        squared = remainder_from(sample, before, by_before, centre, past, axes);
    }
    if (!has_after) {
        memcpy(rest, past, axes * sizeof *rest);
        return squared;
    }
    double next_squared = remainder_from(sample, after, by_after, centre, next, axes);
    if (!has_before) {
        memcpy(past, next, axes * sizeof *past);
    }
    if (has_before && windows_apart(mains, before, after, axes) < centre->steady_squared) {
        squared = 0.0;
        for (size_t a = 0; a < axes; a++) {
            rest[a] = 0.5 * (past[a] + next[a]);
            double off = rest[a] - centre->location[a];
            squared += off * off;
        }
        return squared;
    }
    bool use_past = squared < next_squared;
    memcpy(rest, use_past ? past : next, axes * sizeof *rest);
    return use_past ? squared : next_squared;
}

/* A sample that is ready has left the window of what comes in: its harmonics may go. */
static inline void take_harmonics_off(struct mains *mains, uint64_t i, size_t axes)
{
    struct mains_sample *sample = &mains->ring[i & mains->mask];
    harmonics_take_off(&mains->harmonics, sample->cosine, sample->sine, mains->step_cosine,
                       mains->step_sine, sample->x, axes);
}

static inline void follow_harmonics(struct mains *mains, const struct mains_centre *centre,
                                    const double rest[], size_t axes)
{
    double off[VECTOR_AXES_MAX] = {0.0};
    for (size_t a = 0; a < axes; a++) {
        off[a] = rest[a] - centre->location[a];
    }
    harmonics_follow(&mains->harmonics, off, centre->bound, axes);
}

static inline void take_axes(struct mains *mains, const struct mains_centre *centre,
                             struct history *history, size_t axes)
{
    uint64_t i = mains->done++;
    const struct mains_sample *sample = &mains->ring[i & mains->mask];
    uint64_t full = i + 1 >= mains->window ? i : i + mains->window;
    size_t out = history->end++ & history->mask;
    double rest[VECTOR_AXES_MAX] = {0.0};
    double past[VECTOR_AXES_MAX] = {0.0};
    bool harmonics = mains->harmonics.count > 0;
    if (harmonics) {
        take_harmonics_off(mains, i, axes);
    }
    double squared = choose_rest(mains, i, centre, rest, past, axes);
    if (harmonics) {
        follow_harmonics(mains, centre, rest, axes);
    }
    for (size_t a = 0; a < axes; a++) {
        history->rest[a][out] = rest[a];
        history->past[a][out] = past[a];
    }
    history->times[out] = sample->time_ns;
    history->clipped[out] = sample->clipped;
    history->amplitude[out] = amplitude_over(mains, &mains->ring[full & mains->mask], axes);
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
