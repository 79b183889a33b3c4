/* Flat tops: a sensor at the end of its range repeats the same extreme value.
 * Must never call a quiet sensor's usual repetition a flat top. Called by field for each sample. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_RAIL_H
#define ROOMWAKE_COLLECTOR_DETECT_RAIL_H

#include <stdbool.h>
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
/* 1 where `value` is a flat top's. */
uint8_t rail_check(struct rail *rail, double value, bool learning);

#endif
