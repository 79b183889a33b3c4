/* Summaries that keep every extreme: a block's min, max and sum, and those of all blocks that
 * start in the same 16, 256 or 4096 seconds. Must never average a peak away, nor touch a database.
 * Called by the writer as it stores and by the reader for what is not yet stored. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_ZOOM_H
#define ROOMWAKE_COLLECTOR_NIGHT_ZOOM_H

#include <stdbool.h>
#include <stdint.h>

#include "common/block.h"
#include "common/error.h"

#define ZOOM_LEVELS 3

/* Over a stretch of one channel; values in the channel's unit. count 0: nothing in it yet. */
struct zoom_bucket {
    int64_t slot;
    int64_t t0_ns;
    int64_t t1_ns; /* of the last sample */
    uint64_t count;
    double min;
    double max;
    double sum;
};

/* A block's own numbers. Counts are set for BLOCK_INT32 only. */
struct zoom_summary {
    struct zoom_bucket values;
    int64_t min_count;
    int64_t max_count;
    int64_t sum_counts;
};

/* block->count must not be 0. */
void zoom_summarise(const struct block *block, const struct channel *channel,
                    struct zoom_summary *summary);
/* The bucket in the unit from a BLOCK_INT32 block's counts. */
void zoom_from_counts(const struct channel *channel, int64_t min, int64_t max, int64_t sum,
                      struct zoom_bucket *bucket);
void zoom_join(struct zoom_bucket *into, const struct zoom_bucket *other);
/* Which slot of a level (1 to ZOOM_LEVELS) a block that starts at t0_ns belongs to. */
int64_t zoom_slot(int level, int64_t t0_ns);
int64_t zoom_slot_length_ns(int level);

/* The slots that are still being filled, one a channel and level. Start from {0}. */
struct zoom_open {
    int64_t channel;
    struct zoom_bucket levels[ZOOM_LEVELS];
};

struct zoom {
    struct zoom_open *open;
    size_t count;
    size_t size;
    uint32_t *index; /* by channel id: its place in `open` plus 1 */
    size_t index_size;
};

/* Called with a slot that is to be stored, or joined to what is stored of it. */
typedef int (*zoom_emit)(void *context, int64_t channel, int level,
                         const struct zoom_bucket *bucket, struct error *error);

/* Takes a block's bucket; a slot that it leaves behind is emitted, and so is the block itself
 * where its slot has been left behind before (it came late). Hence for each channel and level all
 * blocks whose slot is beyond the greatest emitted one are in the open slot. */
int zoom_add(struct zoom *zoom, int64_t channel, const struct zoom_bucket *bucket, zoom_emit emit,
             void *context, struct error *error);
/* Emits all open slots and forgets them. */
int zoom_finish(struct zoom *zoom, zoom_emit emit, void *context, struct error *error);
void zoom_free(struct zoom *zoom);

/* The open slots as they were before a transaction that then failed. `saved` starts from {0}. */
int zoom_save(const struct zoom *zoom, struct zoom *saved, struct error *error);
void zoom_restore(struct zoom *zoom, const struct zoom *saved);

#endif
