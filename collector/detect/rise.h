/* Where a level that moves away from its noise began to: the samples before it was over the
 * threshold, under all straight rises and steps that they allow. Pure.
 * Must never be asked about what swings: a rise that does not fit says so. Called by watch_event.
 */
#ifndef ROOMWAKE_COLLECTOR_DETECT_RISE_H
#define ROOMWAKE_COLLECTOR_DETECT_RISE_H

#include <stdbool.h>
#include <stddef.h>

struct rise {
    double back;   /* samples from the last one back to the beginning, a fraction; mean */
    double sd;     /* one sigma, in samples */
    double misfit; /* of the best one: chi-square over the number of samples */
};

/* values[0..count-1] in units of their own noise, towards the side of the last one, which is the
 * first over the threshold. false: too few, or nothing fits. */
bool rise_find(const double *values, size_t count, struct rise *rise);

#endif
