/* Flat tops: a sensor at the end of its range repeats the same extreme value.
 * Must never call a quiet sensor's usual repetition a flat top. Called by field. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_RAIL_H
#define ROOMWAKE_COLLECTOR_DETECT_RAIL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define RAIL_RECENT 16u

/* Of one axis. `recent` is field's, for the resolution. */
struct rail {
    double recent[RAIL_RECENT];
    double last;
    double highest;
    double lowest;
    uint32_t repeats;
    uint32_t usual_repeats; /* the most in the quiet spell */
};

void rail_start(struct rail *rail, double value);
/* n samples in a row: clipped[i] becomes 1 where value i is a flat top's, and stays as it is
 * elsewhere. */
void rail_check(struct rail *rail, const double *values, size_t n, bool learning,
                uint8_t clipped[]);

#endif
