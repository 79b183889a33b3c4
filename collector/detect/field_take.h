/* A run of samples, axis by axis: what its values say of the sensor, and on into the history.
 * Must never depend on how blocks were cut. Called by field with samples [from, from + n) of
 * `times` and of each axis, n at least 1 and none beyond the batch's end. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_FIELD_TAKE_H
#define ROOMWAKE_COLLECTOR_DETECT_FIELD_TAKE_H

#include "collector/detect/field.h"

/* clipped[i] becomes 1 where one of the axes is at a flat top, else 0. In the quiet spell the
 * channel's resolution and its usual repetitions are learnt. */
void field_check_rails(struct field *field, const int64_t *times, const double *const values[],
                       size_t from, size_t n, uint8_t clipped[]);
/* Without a mains band samples go straight into the history, where a batch lies in one piece. */
void field_keep_rest(struct field *field, const int64_t *times, const double *const values[],
                     size_t from, size_t n, const uint8_t clipped[]);

#endif
