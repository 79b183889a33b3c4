/* Demodulation over a sliding window of whole cycles, and the remainder on either side of it.
 * Must never let a step or a spike pass for mains, nor a mains step for anything else.
 * Called by field.
 */
#include "collector/detect/mains.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/detect/alias.h"

#define WINDOW_S 0.2
#define WINDOW_SAMPLES_MIN 8
/* Part of the sample rate that the alias must keep from zero and from half the rate. */
#define EDGE_PART 0.02
/* A sample further off its nominal time than this (radians of mains) is turned exactly. */
#define SMALL_TURN 0.02
/* Weight of the past in the frequency's average, a window. */
#define DRIFT_KEEP 0.97
#define DRIFT_COHERENT 0.8

/* Samples in a window of whole cycles; 0 where none fits. */
static size_t choose_window(double folded_hz, double rate_hz)
{
    size_t longest = (size_t)floor(WINDOW_S * rate_hz + 1e-9);
    size_t best = 0;
    double best_off = INFINITY;
    for (size_t n = longest; n >= WINDOW_SAMPLES_MIN && 2 * n >= longest; n--) {
        double cycles = (double)n * folded_hz / rate_hz;
        double off = fabs(cycles - floor(cycles + 0.5));
        if (cycles >= 0.9 && off < best_off - 1e-9) {
            best = n;
            best_off = off;
        }
    }
    return best;
}

bool mains_measurable(double mains_hz, double rate_hz)
{
    double folded_hz = alias_hz(mains_hz, rate_hz);
    return folded_hz > EDGE_PART * rate_hz && 0.5 * rate_hz - folded_hz > EDGE_PART * rate_hz &&
           choose_window(folded_hz, rate_hz) > 0;
}

static bool allocate_axis(struct mains *mains, size_t a, size_t size)
{
    mains->loud_real[a] = calloc(size, sizeof(double));
    mains->loud_imaginary[a] = calloc(size, sizeof(double));
    return mains->loud_real[a] && mains->loud_imaginary[a];
}

int mains_init(struct mains *mains, double mains_hz, int64_t period_ps, size_t axes,
               unsigned harmonic)
{
    memset(mains, 0, sizeof *mains);
    double rate_hz = 1e12 / (double)period_ps;
    mains->axes = axes;
    mains->hz = mains_hz;
    mains->period_ps = period_ps;
    mains->window = choose_window(alias_hz(mains_hz, rate_hz), rate_hz);
    double turn = 2.0 * M_PI * mains_hz / rate_hz;
    mains->turn_per_ns = 2.0 * M_PI * mains_hz * 1e-9;
    mains->turn_cosine = cos(turn);
    mains->turn_sine = sin(turn);
    mains->ahead_cosine = 1.0;
    mains->across_cosine = 1.0;
    mains->step_cosine = 1.0;
    harmonics_init(&mains->harmonics, mains_hz, rate_hz, harmonic);
    mains->gain = 2.0 / (double)mains->window;
    size_t size = 64;
    while (size < mains->window + 4) {
        size *= 2;
    }
    mains->mask = size - 1;
    mains->ring = calloc(size, sizeof *mains->ring);
    bool complete = mains->ring != NULL;
    for (size_t a = 0; a < axes; a++) {
        complete = allocate_axis(mains, a, size) && complete;
    }
    if (!complete) {
        mains_free(mains);
        return -1;
    }
    return 0;
}

void mains_free(struct mains *mains)
{
    for (size_t a = 0; a < VECTOR_AXES_MAX; a++) {
        free(mains->loud_real[a]);
        free(mains->loud_imaginary[a]);
    }
    free(mains->ring);
    memset(mains, 0, sizeof *mains);
}

void mains_restart(struct mains *mains)
{
    mains->started = false;
    mains->in_window = 0;
    mains->fed = 0;
    mains->done = 0;
    mains->loud_left = 0;
    harmonics_restart(&mains->harmonics);
    for (size_t a = 0; a < mains->axes; a++) {
        mains->sum_real[a] = 0.0;
        mains->sum_imaginary[a] = 0.0;
        mains->fresh_real[a] = 0.0;
        mains->fresh_imaginary[a] = 0.0;
    }
}

/* Radians of mains at a time, within one turn. */
static double angle_at(const struct mains *mains, int64_t time_ns)
{
    double cycles = mains->hz * 1e-9 * (double)(time_ns - mains->origin_ns);
    return 2.0 * M_PI * (cycles - floor(cycles));
}

/* The mains phase of a sample by its own time: the oscillator steps from sample to sample and is
 * turned by what the sample is early or late. */
static inline void set_phase(struct mains *mains, struct mains_sample *sample)
{
    double c = mains->cosine_now;
    double s = mains->sine_now;
    double late = 0.0;
    if (mains->in_window == 0) {
        double angle = angle_at(mains, sample->time_ns);
        mains->anchor_ns = sample->time_ns;
        mains->cosine_now = cos(angle);
        mains->sine_now = sin(angle);
    } else {
        mains->cosine_now = c * mains->turn_cosine - s * mains->turn_sine;
        mains->sine_now = s * mains->turn_cosine + c * mains->turn_sine;
        int64_t elapsed_ps = (int64_t)mains->in_window * mains->period_ps;
        int64_t expected_ns = mains->anchor_ns + (elapsed_ps + 500) / 1000;
        late = mains->turn_per_ns * (double)(sample->time_ns - expected_ns);
    }
    if (fabs(late) < SMALL_TURN) {
        sample->cosine = mains->cosine_now - late * mains->sine_now;
        sample->sine = mains->sine_now + late * mains->cosine_now;
    } else {
        double angle = angle_at(mains, sample->time_ns);
        sample->cosine = cos(angle);
        sample->sine = sin(angle);
    }
}

/* From how much the phase turned between two windows that adjoin. */
static void follow_frequency(struct mains *mains)
{
    const struct mains_sample *now = &mains->ring[mains->fed & mains->mask];
    const struct mains_sample *before = &mains->ring[(mains->fed - mains->window) & mains->mask];
    double real = 0.0;
    double imaginary = 0.0;
    double power = 0.0;
    for (size_t a = 0; a < mains->axes; a++) {
        double nr = now->real[a];
        double ni = now->imaginary[a];
        double br = before->real[a];
        double bi = before->imaginary[a];
        real += nr * br + ni * bi;
        imaginary += ni * br - nr * bi;
        power += sqrt((nr * nr + ni * ni) * (br * br + bi * bi));
    }
    mains->drift_real = DRIFT_KEEP * mains->drift_real + real;
    mains->drift_imaginary = DRIFT_KEEP * mains->drift_imaginary + imaginary;
    mains->drift_power = DRIFT_KEEP * mains->drift_power + power;
    double window = (double)mains->window;
    double turn = 0.0; /* a sample */
    if (hypot(mains->drift_real, mains->drift_imaginary) > DRIFT_COHERENT * mains->drift_power) {
        turn = atan2(mains->drift_imaginary, mains->drift_real) / window;
    }
    mains->ahead_cosine = cos(0.5 * turn * (window + 1.0));
    mains->ahead_sine = sin(0.5 * turn * (window + 1.0));
    mains->across_cosine = cos(turn * (window + 1.0));
    mains->across_sine = sin(turn * (window + 1.0));
    mains->step_cosine = cos(turn);
    mains->step_sine = sin(turn);
    double kept = 1.0;
    if (fabs(turn) > 1e-9) {
        kept = sin(0.5 * turn * window) / (window * sin(0.5 * turn));
    }
    mains->gain = 2.0 / (window * kept);
}

/* A sum made anew each window keeps rounding from piling up over a night. */
static void renew_sums(struct mains *mains)
{
    for (size_t a = 0; a < mains->axes; a++) {
        mains->sum_real[a] = mains->fresh_real[a];
        mains->sum_imaginary[a] = mains->fresh_imaginary[a];
        mains->fresh_real[a] = 0.0;
        mains->fresh_imaginary[a] = 0.0;
    }
}

/* The window's sums, moved on by one sample; `gone` is the one that leaves, or nothing. */
static inline void slide_sums(struct mains *mains, struct mains_sample *sample,
                              const struct mains_sample *gone, const double x[], size_t axes)
{
    const double c = sample->cosine;
    const double s = sample->sine;
    for (size_t a = 0; a < axes; a++) {
        double real = x[a] * c;
        double imaginary = -x[a] * s;
        sample->x[a] = x[a];
        mains->fresh_real[a] += real;
        mains->fresh_imaginary[a] += imaginary;
        mains->sum_real[a] += real - gone->x[a] * gone->cosine;
        mains->sum_imaginary[a] += imaginary + gone->x[a] * gone->sine;
    }
}

static inline void feed(struct mains *mains, int64_t time_ns, const double x[], uint8_t clipped,
                        size_t axes)
{
    static const struct mains_sample nothing;
    struct mains_sample *sample = &mains->ring[mains->fed & mains->mask];
    const struct mains_sample *gone = mains->fed >= mains->window
                                          ? &mains->ring[(mains->fed - mains->window) & mains->mask]
                                          : &nothing;
    const bool whole = mains->in_window + 1 == mains->window;
    sample->time_ns = time_ns;
    sample->clipped = clipped;
    set_phase(mains, sample);
    slide_sums(mains, sample, gone, x, axes);
    if (whole) {
        renew_sums(mains);
    }
    for (size_t a = 0; a < axes; a++) {
        sample->real[a] = mains->sum_real[a];
        sample->imaginary[a] = mains->sum_imaginary[a];
    }
    if (whole && mains->fed + 1 >= 2 * mains->window) {
        follow_frequency(mains);
    }
    mains->in_window = whole ? 0 : mains->in_window + 1;
    mains->fed++;
}

void mains_feed(struct mains *mains, int64_t time_ns, const double x[], uint8_t clipped)
{
    if (!mains->started) {
        mains->started = true;
        mains->origin_ns = time_ns;
    }
    if (mains->axes == 3) {
        feed(mains, time_ns, x, clipped, 3);
    } else if (mains->axes == 1) {
        feed(mains, time_ns, x, clipped, 1);
    } else {
        feed(mains, time_ns, x, clipped, mains->axes);
    }
}
