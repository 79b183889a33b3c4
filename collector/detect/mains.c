/* Demodulation over a sliding window of whole cycles, and the remainder on either side of it.
 * Must never let a step or a spike pass for mains, nor a mains step for anything else.
 * Called by field.
 */
#include "collector/detect/mains.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WINDOW_S 0.2
#define WINDOW_SAMPLES_MIN 8
/* Part of the sample rate that the alias must keep from zero and from half the rate. */
#define EDGE_PART 0.02
/* A sample further off its nominal time than this (radians of mains) is turned exactly. */
#define SMALL_TURN 0.02
/* Weight of the past in the frequency's average, a window. */
#define DRIFT_KEEP 0.97
#define DRIFT_COHERENT 0.8

double mains_alias_hz(double mains_hz, double rate_hz)
{
    return fabs(mains_hz - rate_hz * floor(mains_hz / rate_hz + 0.5));
}

/* Samples in a window of whole cycles; 0 where none fits. */
static size_t choose_window(double alias_hz, double rate_hz)
{
    size_t longest = (size_t)floor(WINDOW_S * rate_hz + 1e-9);
    size_t best = 0;
    double best_off = INFINITY;
    for (size_t n = longest; n >= WINDOW_SAMPLES_MIN && 2 * n >= longest; n--) {
        double cycles = (double)n * alias_hz / rate_hz;
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
    double alias_hz = mains_alias_hz(mains_hz, rate_hz);
    return alias_hz > EDGE_PART * rate_hz && 0.5 * rate_hz - alias_hz > EDGE_PART * rate_hz &&
           choose_window(alias_hz, rate_hz) > 0;
}

static bool allocate_axis(struct mains *mains, size_t a, size_t size)
{
    mains->x[a] = calloc(size, sizeof(double));
    mains->real[a] = calloc(size, sizeof(double));
    mains->imaginary[a] = calloc(size, sizeof(double));
    mains->loud_real[a] = calloc(size, sizeof(double));
    mains->loud_imaginary[a] = calloc(size, sizeof(double));
    return mains->x[a] && mains->real[a] && mains->imaginary[a] && mains->loud_real[a] &&
           mains->loud_imaginary[a];
}

int mains_init(struct mains *mains, double mains_hz, int64_t period_ps, size_t axes)
{
    memset(mains, 0, sizeof *mains);
    double rate_hz = 1e12 / (double)period_ps;
    mains->axes = axes;
    mains->hz = mains_hz;
    mains->period_ps = period_ps;
    mains->window = choose_window(mains_alias_hz(mains_hz, rate_hz), rate_hz);
    double turn = 2.0 * M_PI * mains_hz / rate_hz;
    mains->turn_cosine = cos(turn);
    mains->turn_sine = sin(turn);
    mains->ahead_cosine = 1.0;
    mains->gain = 2.0 / (double)mains->window;
    size_t size = 64;
    while (size < mains->window + 4) {
        size *= 2;
    }
    mains->mask = size - 1;
    mains->times = calloc(size, sizeof *mains->times);
    mains->clipped = calloc(size, sizeof *mains->clipped);
    mains->cosine = calloc(size, sizeof *mains->cosine);
    mains->sine = calloc(size, sizeof *mains->sine);
    bool complete = mains->times && mains->clipped && mains->cosine && mains->sine;
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
        free(mains->x[a]);
        free(mains->real[a]);
        free(mains->imaginary[a]);
        free(mains->loud_real[a]);
        free(mains->loud_imaginary[a]);
    }
    free(mains->times);
    free(mains->clipped);
    free(mains->cosine);
    free(mains->sine);
    memset(mains, 0, sizeof *mains);
}

void mains_restart(struct mains *mains)
{
    mains->started = false;
    mains->in_window = 0;
    mains->fed = 0;
    mains->done = 0;
    mains->loud_left = 0;
    for (size_t a = 0; a < mains->axes; a++) {
        mains->sum_real[a] = 0.0;
        mains->sum_imaginary[a] = 0.0;
        mains->fresh_real[a] = 0.0;
        mains->fresh_imaginary[a] = 0.0;
    }
}

/* The mains phase of a sample by its own time: the oscillator steps from sample to sample and is
 * turned by what the sample is early or late. */
static void set_phase(struct mains *mains, int64_t time_ns, size_t slot)
{
    size_t k = mains->in_window;
    double cycles = mains->hz * 1e-9 * (double)(time_ns - mains->origin_ns);
    if (k == 0) {
        double angle = 2.0 * M_PI * (cycles - floor(cycles));
        mains->anchor_ns = time_ns;
        mains->cosine_now = cos(angle);
        mains->sine_now = sin(angle);
    } else {
        double c = mains->cosine_now;
        double s = mains->sine_now;
        mains->cosine_now = c * mains->turn_cosine - s * mains->turn_sine;
        mains->sine_now = s * mains->turn_cosine + c * mains->turn_sine;
    }
    int64_t expected = mains->anchor_ns + ((int64_t)k * mains->period_ps + 500) / 1000;
    double late = 2.0 * M_PI * mains->hz * 1e-9 * (double)(time_ns - expected);
    if (fabs(late) < SMALL_TURN) {
        mains->cosine[slot] = mains->cosine_now - late * mains->sine_now;
        mains->sine[slot] = mains->sine_now + late * mains->cosine_now;
    } else {
        double angle = 2.0 * M_PI * (cycles - floor(cycles));
        mains->cosine[slot] = cos(angle);
        mains->sine[slot] = sin(angle);
    }
}

/* From how much the phase turned between two windows that adjoin. */
static void follow_frequency(struct mains *mains)
{
    size_t now = mains->fed & mains->mask;
    size_t before = (mains->fed - mains->window) & mains->mask;
    double real = 0.0;
    double imaginary = 0.0;
    double power = 0.0;
    for (size_t a = 0; a < mains->axes; a++) {
        double nr = mains->real[a][now];
        double ni = mains->imaginary[a][now];
        double br = mains->real[a][before];
        double bi = mains->imaginary[a][before];
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
    double kept = 1.0;
    if (fabs(turn) > 1e-9) {
        kept = sin(0.5 * turn * window) / (window * sin(0.5 * turn));
    }
    mains->gain = 2.0 / (window * kept);
}

/* The window's sums, moved on by one sample. */
static inline void slide_sums(struct mains *mains, const double x[], size_t axes, bool whole)
{
    size_t slot = mains->fed & mains->mask;
    size_t old = (mains->fed - mains->window) & mains->mask;
    bool full = mains->fed >= mains->window;
    double c = mains->cosine[slot];
    double s = mains->sine[slot];
    double old_c = full ? mains->cosine[old] : 0.0;
    double old_s = full ? mains->sine[old] : 0.0;
    for (size_t a = 0; a < axes; a++) {
        double real = x[a] * c;
        double imaginary = -x[a] * s;
        double gone = mains->x[a][old];
        double sum_real = mains->sum_real[a] + real - gone * old_c;
        double sum_imaginary = mains->sum_imaginary[a] + imaginary + gone * old_s;
        mains->x[a][slot] = x[a];
        mains->fresh_real[a] += real;
        mains->fresh_imaginary[a] += imaginary;
        if (whole) {
            /* A sum made anew each window keeps rounding from piling up over a night. */
            sum_real = mains->fresh_real[a];
            sum_imaginary = mains->fresh_imaginary[a];
            mains->fresh_real[a] = 0.0;
            mains->fresh_imaginary[a] = 0.0;
        }
        mains->sum_real[a] = sum_real;
        mains->sum_imaginary[a] = sum_imaginary;
        mains->real[a][slot] = sum_real;
        mains->imaginary[a][slot] = sum_imaginary;
    }
}

void mains_feed(struct mains *mains, int64_t time_ns, const double x[], uint8_t clipped)
{
    if (!mains->started) {
        mains->started = true;
        mains->origin_ns = time_ns;
    }
    size_t slot = mains->fed & mains->mask;
    bool whole = mains->in_window + 1 == mains->window;
    set_phase(mains, time_ns, slot);
    mains->times[slot] = time_ns;
    mains->clipped[slot] = clipped;
    if (mains->axes == 3) {
        slide_sums(mains, x, 3, whole);
    } else if (mains->axes == 1) {
        slide_sums(mains, x, 1, whole);
    } else {
        slide_sums(mains, x, mains->axes, whole);
    }
    if (whole && mains->fed + 1 >= 2 * mains->window) {
        follow_frequency(mains);
    }
    mains->in_window = whole ? 0 : mains->in_window + 1;
    mains->fed++;
}
