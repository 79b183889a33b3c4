/* The median and the median absolute deviation: middle and spread that a few wild values can't
 * pull. Must never allocate or keep state. Called by vector and baseline. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_ROBUST_H
#define ROOMWAKE_COLLECTOR_DETECT_ROBUST_H

#include <stddef.h>

/* 1 / Phi^-1(3/4): from the median of absolute deviations to a normal sigma. */
#define ROBUST_SCALE 1.482602218505602

/* Both reorder `values`; n >= 1. The middle two are averaged. */
double robust_median(double *values, size_t n);
/* The median of |value - centre|, not yet times ROBUST_SCALE; the values are lost. */
double robust_deviation(double *values, size_t n, double centre);

#endif
