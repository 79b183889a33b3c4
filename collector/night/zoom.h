/* Summaries that keep every extreme: a block's min, max and sum, and the min and max of its runs.
 * Must never average a peak away, nor touch a database. Called by the writer as it stores, by the
 * reader for a plot, and by verify. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_ZOOM_H
#define ROOMWAKE_COLLECTOR_NIGHT_ZOOM_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/night/codec.h"
#include "common/block.h"
#include "common/error.h"

/* Over a stretch of one channel; values in the channel's unit. count 0: nothing in it yet. */
struct zoom_bucket {
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

/* A long block's runs of ZOOM_RUN samples each (the last may have fewer), so that a plot of hours
 * need not read the samples. Only of evenly timed counts. */
#define ZOOM_RUN 64u
#define ZOOM_RUNS_MAX ((BLOCK_SAMPLES_MAX + ZOOM_RUN - 1) / ZOOM_RUN)
struct zoom_runs {
    size_t count;
    int32_t min[ZOOM_RUNS_MAX];
    int32_t max[ZOOM_RUNS_MAX];
};
void zoom_runs_make(const int32_t *counts, uint32_t count, struct zoom_runs *runs);
/* `bytes` has room for ZOOM_RUNS_BYTES_MAX. */
void zoom_runs_encode(struct codec *codec, const struct zoom_runs *runs, uint8_t *bytes,
                      size_t *length);
#define ZOOM_RUNS_BYTES_MAX (2u * (4u * ZOOM_RUNS_MAX + 16u))
/* Of a block of `samples` samples. */
int zoom_runs_decode(struct codec *codec, const uint8_t *bytes, size_t length, uint32_t samples,
                     struct zoom_runs *runs, struct error *error);

#endif
