/* Harmonics of the mains, each where the rate of samples folds it to: followed slowly and taken
 * off, so that a load that switches does not change what counts as the rest's noise. Must never
 * follow what lasts less than a second. Called by mains, sample by sample. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_HARMONICS_H
#define ROOMWAKE_COLLECTOR_DETECT_HARMONICS_H

#include <stddef.h>
#include <stdint.h>

#include "collector/detect/vector.h"

#define HARMONICS_MAX 3u

/* One of them: as it is at the present sample, and its phasor on each axis in the samples' unit. */
struct harmonic {
    double cosine;
    double sine;
    double real[VECTOR_AXES_MAX];
    double imaginary[VECTOR_AXES_MAX];
};

/* Caller-owned. */
struct harmonics {
    size_t count;
    unsigned place[HARMONICS_MAX]; /* of the first, the second and the third: which are followed */
    unsigned first;                /* 3 for fields, 2 for vibration */
    double gain_least;
    uint64_t seen; /* samples of the run that were followed */
    uint64_t sure; /* from so many on what is far off is bounded */
    /* how far the real mains turned ahead of its nominal frequency */
    double ahead_cosine;
    double ahead_sine;
    struct harmonic each[HARMONICS_MAX];
};

/* A current's harmonics are odd, since its half waves are alike, and so are its fields'; what a
 * current shakes goes by its square, so twice as fast (common practice, no source). */
#define HARMONIC_OF_FIELDS 3u
#define HARMONIC_OF_VIBRATION 2u

/* `first`, first + 2 and first + 4: those that fold to where nothing else is. */
void harmonics_init(struct harmonics *harmonics, double mains_hz, double rate_hz, unsigned first);
/* After a gap the phases are new. */
void harmonics_restart(struct harmonics *harmonics);

/* The next sample of the run, x[] in place: cosine and sine of the nominal mains at its time, and
 * by how much the real one turns ahead from sample to sample. */
void harmonics_take_off(struct harmonics *harmonics, double cosine, double sine, double turn_cosine,
                        double turn_sine, double x[], size_t axes);
/* What was left of that sample by then, off its usual level; `bound`: its length counts as this
 * much at most, 0 where that is not known yet. */
void harmonics_follow(struct harmonics *harmonics, const double off[], double bound, size_t axes);

#endif
