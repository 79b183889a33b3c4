/* A level that tells only its changes, made even: what it last told, once a second.
 * Must never run ahead of what is known. Called by detector, in front of field. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_HOLD_H
#define ROOMWAKE_COLLECTOR_DETECT_HOLD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/field.h"

#define HOLD_PERIOD_PS INT64_C(1000000000000)

struct hold {
    bool started;
    double value;
    int64_t next_ns; /* of the next even sample */
};

void hold_push(struct hold *hold, struct field *field, const int64_t *times, const double *values,
               size_t n);
/* All changes before until_ns are known. */
void hold_advance(struct hold *hold, struct field *field, int64_t until_ns);

#endif
