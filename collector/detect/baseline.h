/* What is usual, tonight, of one quantity: location and robust scale, learnt in the quiet spell and
 * kept up slowly afterwards. Must never learn from a disturbance. Called by watch, in order of
 * time.
 */
#ifndef ROOMWAKE_COLLECTOR_DETECT_BASELINE_H
#define ROOMWAKE_COLLECTOR_DETECT_BASELINE_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/extremes.h"
#include "collector/detect/vector.h"

struct baseline_tuning {
    size_t dims;
    double location_samples; /* the time constant of following, in samples */
    bool trend;              /* follows a steady slope too (critically damped, second order) */
    uint32_t batch;          /* samples between two moves of the location */
    double scale_samples;
    uint32_t block_samples; /* of the extremes' blocks */
};

/* Bounded memory: every stride-th length of deviation in the quiet spell, and the largest of each
 * block in units of the scale then (while learning in the unit itself). */
struct baseline_memory {
    float *lengths; /* owned */
    size_t count;
    size_t stride;
    size_t skipped;
    struct extremes extremes;
    uint32_t block_fill;
    double block_max_squared;
};

/* Plain fields are read by watch; only baseline's functions write them. */
struct baseline {
    struct baseline_tuning tuning;
    double location[VECTOR_AXES_MAX];
    double scale;
    double scale_floor; /* what the samples' resolution alone brings; set before learning ends */
    /* batch in the making */
    double sum[VECTOR_AXES_MAX];
    double batch_max_squared;
    double slope[VECTOR_AXES_MAX]; /* a sample */
    uint32_t count;
    uint32_t above;
    /* from scale */
    double median_squared;
    double clip_squared;
    bool learning;
    struct baseline_memory memory;
};

/* -1 where there is no memory. */
int baseline_init(struct baseline *baseline, const struct baseline_tuning *tuning);
void baseline_free(struct baseline *baseline);

/* A first guess from the first samples (axes[a][i]); `scratch` holds n doubles. */
void baseline_start(struct baseline *baseline, const double *const axes[], size_t n,
                    double *scratch);
/* Location alone: after a gap, or where a new level stays. */
void baseline_move(struct baseline *baseline, const double location[]);
void baseline_set_scale(struct baseline *baseline, double scale);

/* A sample of the quiet spell: also kept for the scale and the extremes. */
void baseline_learn(struct baseline *baseline, const double deviation[], double length_squared);
/* The scale that the kept lengths would give now. */
double baseline_learnt_scale(const struct baseline *baseline);
/* The quiet spell is over: scale from the kept lengths. Returns how many of them there were. */
size_t baseline_finish_learning(struct baseline *baseline);
/* A batch is in the sums: moves location and scale a little. */
void baseline_follow(struct baseline *baseline);
/* The present block ends with a disturbance: it counts as one of the largest, whatever its height.
 */
void baseline_spoil_block(struct baseline *baseline);
/* A quiet sample. Influence is bounded: beyond three sigma only the direction counts. */
static inline void baseline_take(struct baseline *baseline, const double deviation[],
                                 double length_squared, size_t dims)
{
    double weight = 1.0;
    if (__builtin_expect(length_squared > baseline->clip_squared, 0)) {
        weight = sqrt(baseline->clip_squared / length_squared);
    }
    for (size_t a = 0; a < dims; a++) {
        baseline->sum[a] += weight * deviation[a];
    }
    baseline->above += length_squared > baseline->median_squared;
    if (length_squared > baseline->batch_max_squared) {
        baseline->batch_max_squared = length_squared;
    }
    if (++baseline->count == baseline->tuning.batch) {
        baseline_follow(baseline);
    }
}

#endif
