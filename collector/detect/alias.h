/* Where a frequency appears among samples that are too slow for it.
 * Must never need more than the two rates. Used by mains, harmonics and edge. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_ALIAS_H
#define ROOMWAKE_COLLECTOR_DETECT_ALIAS_H

#include <math.h>

/* 0 to half the rate. */
static inline double alias_hz(double hz, double rate_hz)
{
    return fabs(hz - rate_hz * floor(hz / rate_hz + 0.5));
}

#endif
