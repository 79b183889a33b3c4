/* Mains that the rate of samples folds to nothing or to half the rate: it can't be measured there,
 * but what alternates from sample to sample can be followed and taken off.
 * Must never take off what doesn't alternate. Called by field in order of time. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_EDGE_H
#define ROOMWAKE_COLLECTOR_DETECT_EDGE_H

#include <stdbool.h>
#include <stddef.h>

#include "collector/detect/vector.h"

enum edge_kind {
    EDGE_NONE,
    EDGE_SLOW,      /* folds to nothing: it looks like drift */
    EDGE_ALTERNATE, /* folds to half the rate: every second sample is up, the others down */
};

/* Caller-owned; {0} takes nothing off. */
struct edge {
    enum edge_kind kind;
    double gain;
    bool odd;
    bool started;
    double last[VECTOR_AXES_MAX];
    double height[VECTOR_AXES_MAX]; /* of the alternation: up by it, then down by it */
    double slope[VECTOR_AXES_MAX];
    double spread; /* of one look at the height, all axes together */
};

void edge_init(struct edge *edge, double mains_hz, double rate_hz);
/* After a gap nothing is known of which sample is up. */
void edge_restart(struct edge *edge);
/* From samples [from, from + n) of each axis. */
void edge_take_off(struct edge *edge, double *const series[], size_t axes, size_t from, size_t n);

#endif
