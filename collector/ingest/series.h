/* Exact decimals with times -> blocks: evenly timed where the times say so, counts where the step
 * carries them. Must never move a time or round a value. Used by the CSV import and SenML nodes. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_SERIES_H
#define ROOMWAKE_COLLECTOR_INGEST_SERIES_H

#include <stddef.h>
#include <stdint.h>

#include "common/block.h"

/* Samples of one channel in order of time. Start from {0}; series_free. */
struct series {
    int64_t *times_ns;
    struct decimal *values;
    int32_t *counts; /* for the blocks made; as long as the others */
    size_t count;
    size_t size;
};

void series_free(struct series *series);
/* Room for `count` samples in all: what fits is inserted without a failure. */
int series_reserve(struct series *series, size_t count);
/* Puts a sample in its place: 0, 1 where that time is taken already, -1 where memory ran out. */
int series_insert(struct series *series, int64_t time_ns, struct decimal value);
/* Takes the first `count` away. */
void series_drop(struct series *series, size_t count);

/* How many of the times, from the first on, fit one even block, and its period; `like_ps` is taken
 * where it fits. At least 1 for count > 0. */
size_t series_even_run(const int64_t *times_ns, size_t count, int64_t like_ps, int64_t *period_ps);

/* Blocks for the samples [0, count), in `blocks` (at least series_block_count long), pointing into
 * the series: valid until it changes. `index` is the channel's in its node. */
size_t series_block_count(const struct series *series, size_t count, const struct channel *channel);
void series_make_blocks(struct series *series, size_t count, uint16_t index,
                        const struct channel *channel, struct block *blocks);

/* The finer of the channel's step and what the value needs, as a power of ten. */
int series_finest(int exponent, struct decimal value);

#endif
