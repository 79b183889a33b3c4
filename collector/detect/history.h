/* The last few seconds of processed samples of one group, for looking back at an onset.
 * Must never grow once made. Written by field, read by watch. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_HISTORY_H
#define ROOMWAKE_COLLECTOR_DETECT_HISTORY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/vector.h"

/* Sample n is at [n & mask]; samples [end - size, end) are there. Values are relative to the
 * field's reference. The last four are NULL where mains is not measurable. */
struct history {
    size_t size; /* a power of two */
    size_t mask;
    uint64_t end;
    size_t axes;
    int64_t *times;
    uint8_t *clipped;
    double *rest[VECTOR_AXES_MAX];
    double *past[VECTOR_AXES_MAX]; /* what a steady mains field, as it was, does not explain */
    double *amplitude;             /* of the mains, over the window that ends here */
    double *leak;                  /* how much of it what is not mains can feign */
};

/* At least `samples` long. -1 where there is no memory. */
int history_init(struct history *history, size_t axes, size_t samples, bool mains);
void history_free(struct history *history);

#endif
