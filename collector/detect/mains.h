/* The mains field apart from the rest: its amplitude over whole cycles, and the samples without it.
 * Must never let a step or a spike pass for mains, nor a mains step for anything else.
 * Called by field. All work is O(1) a sample. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_MAINS_H
#define ROOMWAKE_COLLECTOR_DETECT_MAINS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/harmonics.h"
#include "collector/detect/history.h"
#include "collector/detect/vector.h"

/* A sample while it is in the windows; sums are over the window that ends at it. */
struct mains_sample {
    int64_t time_ns;
    double cosine;
    double sine;
    double x[VECTOR_AXES_MAX];
    double real[VECTOR_AXES_MAX];
    double imaginary[VECTOR_AXES_MAX];
    uint8_t clipped;
};

/* Each sample is compared with the mains as it was over the windows before and after. Where the two
 * differ it keeps the smaller remainder: across a mains step one of them fits always. So samples
 * come out one window late. */
struct mains {
    size_t axes;
    size_t window; /* samples */
    double hz;
    int64_t period_ps;
    size_t mask;
    bool started;
    int64_t origin_ns;
    /* the oscillator, set anew at each window */
    int64_t anchor_ns;
    double cosine_now;
    double sine_now;
    double turn_cosine;
    double turn_sine;
    double turn_per_ns; /* radians */
    size_t in_window;   /* of the next sample */
    uint64_t fed;
    uint64_t done;
    struct mains_sample *ring;
    double sum_real[VECTOR_AXES_MAX];
    double sum_imaginary[VECTOR_AXES_MAX];
    double fresh_real[VECTOR_AXES_MAX];
    double fresh_imaginary[VECTOR_AXES_MAX];
    /* how far the real mains is off its nominal frequency: turn over half a window, and the gain
     * lost over one */
    double drift_real;
    double drift_imaginary;
    double drift_power;
    double ahead_cosine;
    double ahead_sine;
    double across_cosine; /* twice that turn: from the window before a sample to the one after */
    double across_sine;
    double step_cosine; /* and from sample to sample */
    double step_sine;
    double gain;
    struct harmonics harmonics;
    /* what is not mains, demodulated: see `leak` in history.h */
    double *loud_real[VECTOR_AXES_MAX];
    double *loud_imaginary[VECTOR_AXES_MAX];
    double loud_sum_real[VECTOR_AXES_MAX];
    double loud_sum_imaginary[VECTOR_AXES_MAX];
    size_t loud_left;
};

/* What the rest band holds for usual, so that remainders can be compared. */
struct mains_centre {
    double location[VECTOR_AXES_MAX];
    double steady_squared; /* windows less apart than this (squared amplitude) saw the same mains */
    double loud_squared;   /* squared length from which a remainder is loud; INFINITY: never */
    double bound; /* what is off by more moves the harmonics no more; 0: as in harmonics.h */
};

/* Whether it can be told from a steady field and from the fastest change. */
bool mains_measurable(double mains_hz, double rate_hz);

/* Call only where measurable; take each sample as soon as it is ready. `harmonic`: the first that
 * the quantity has (harmonics.h). -1 where there is no memory. */
int mains_init(struct mains *mains, double mains_hz, int64_t period_ps, size_t axes,
               unsigned harmonic);
void mains_free(struct mains *mains);

/* After a gap. What is known of the frequency is kept. */
void mains_restart(struct mains *mains);
void mains_feed(struct mains *mains, int64_t time_ns, const double x[], uint8_t clipped);
/* How many samples could be taken now; at the end of a run (`flush`) also those without a window
 * after them. */
uint64_t mains_ready(const struct mains *mains, bool flush);
/* Appends the next ready one to the history. */
void mains_take(struct mains *mains, const struct mains_centre *centre, struct history *history);

#endif
