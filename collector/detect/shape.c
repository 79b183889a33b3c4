/* The ladder's rungs by the logarithm of the score.
 * Must never grow with the disturbance. Called by watch.
 */
#include "collector/detect/shape.h"

#include <math.h>
#include <string.h>

#define RUNGS_AN_OCTAVE 8.0

static uint32_t rung_of(double score)
{
    if (!(score > 1.0)) {
        return 0;
    }
    /* A hair up, so that half of a peak is its eighth rung down also where rounding says less. */
    double rung = floor(RUNGS_AN_OCTAVE * log2(score) + 1e-9);
    return rung < SHAPE_RUNGS - 1 ? (uint32_t)rung : SHAPE_RUNGS - 1;
}

void shape_restart(struct shape *shape)
{
    memset(shape, 0, sizeof *shape);
}

void shape_take(struct shape *shape, int64_t time_ns, double score)
{
    uint32_t rung = rung_of(score);
    shape->samples[rung]++;
    while (shape->reached <= rung) {
        shape->first_ns[shape->reached++] = time_ns;
    }
}

int64_t shape_reached_ns(const struct shape *shape, double score)
{
    uint32_t rung = rung_of(score);
    return rung < shape->reached ? shape->first_ns[rung] : 0;
}

uint64_t shape_count_above(const struct shape *shape, double score)
{
    uint64_t count = 0;
    for (uint32_t rung = rung_of(score); rung < shape->reached; rung++) {
        count += shape->samples[rung];
    }
    return count;
}
