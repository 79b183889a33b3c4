/* Whether what left the baseline has settled at a new level, and where.
 * Must never be told a sample twice. Called by watch while a disturbance lasts. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_STAY_H
#define ROOMWAKE_COLLECTOR_DETECT_STAY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/vector.h"

/* A level is new after this many steady parts; louder noise only after ten times as many. */
#define STAY_PARTS 30u

/* The stretch so far: parts of equal length whose means agree with the first one's. Sums are taken
 * from the stretch's first sample on. */
struct stay {
    size_t dims;
    uint32_t part_samples;
    uint32_t fill;
    uint32_t parts;
    int64_t start_ns; /* of the stretch */
    int64_t part_start_ns;
    double origin[VECTOR_AXES_MAX];
    double first[VECTOR_AXES_MAX]; /* mean of the first part */
    double part_sum[VECTOR_AXES_MAX];
    double part_squares;
    double sum[VECTOR_AXES_MAX];
    double squares;
};

void stay_restart(struct stay *stay, size_t dims, uint32_t part_samples);
/* True where a steady part has just been completed. `tolerance`: how far means may lie apart. */
bool stay_take(struct stay *stay, int64_t time_ns, const double sample[], double tolerance);
/* The stretch's mean, and its spread per axis (sigma). parts >= 1. */
double stay_level(const struct stay *stay, double level[VECTOR_AXES_MAX]);

#endif
