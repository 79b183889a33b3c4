/* How high, how fast and how long: a ladder of scores, for features that need the peak first.
 * Must never grow with the disturbance. Filled by watch for a sample while a disturbance lasts. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_SHAPE_H
#define ROOMWAKE_COLLECTOR_DETECT_SHAPE_H

#include <stdint.h>

#define SHAPE_RUNGS 160u

/* Eight rungs an octave, from a score of 1 on; what is higher than the last is on the last. */
struct shape {
    int64_t first_ns[SHAPE_RUNGS]; /* when this rung or a higher one was first reached */
    uint32_t samples[SHAPE_RUNGS]; /* on this rung */
    uint32_t reached;              /* rungs that have a first_ns */
};

void shape_restart(struct shape *shape);
void shape_take(struct shape *shape, int64_t time_ns, double score);
/* When `score` was first reached, to a rung; 0 where it was not. */
int64_t shape_reached_ns(const struct shape *shape, double score);
/* How many samples were at or above it, to a rung. */
uint64_t shape_count_above(const struct shape *shape, double score);

#endif
