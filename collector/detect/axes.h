/* Blocks of one to three channels brought together: samples of equal time side by side.
 * Must never pair samples more than half a period apart, nor grow once made. Called by detector. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_AXES_H
#define ROOMWAKE_COLLECTOR_DETECT_AXES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/vector.h"
#include "common/block.h"
#include "common/channel.h"
#include "common/error.h"

/* Samples of one axis that wait for the others, oldest at `head`. */
struct axis_queue {
    uint16_t channel_index;
    struct channel channel;
    /* value = (count * step_count + offset_count) / divisor, where that is exact */
    bool scaled;
    int64_t step_count;
    int64_t offset_count;
    double divisor;
    int64_t *times; /* owned */
    double *values; /* owned */
    size_t head;
    size_t count;
};

struct axes {
    size_t axis_count;
    size_t capacity;
    int64_t half_period_ns;
    struct axis_queue queue[VECTOR_AXES_MAX];
    uint64_t dropped; /* samples that found no partner */
};

/* `count` samples in a row, pointing into the queues; valid until the next call. */
struct axes_run {
    size_t count;
    const int64_t *times;
    const double *values[VECTOR_AXES_MAX];
};

int axes_init(struct axes *axes, const struct channel *channels, const uint16_t *indices,
              size_t axis_count, struct error *error);
void axes_free(struct axes *axes);

/* Queues samples [from, ...) of a block and returns how many; take all runs before the next call.
 * 0 for a channel that is not among them. */
uint32_t axes_push(struct axes *axes, const struct block *block, uint32_t from);
/* The next run of complete samples; false where there is none. */
bool axes_take(struct axes *axes, struct axes_run *run);
/* No more samples before until_ns: those older than that without a partner are dropped. */
void axes_expire(struct axes *axes, int64_t until_ns);
/* Whether a sample waits. */
bool axes_waiting(const struct axes *axes);

#endif
