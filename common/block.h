/* A run of raw samples of one channel and the time of its i-th sample.
 * Must never own memory: the pointers belong to whoever made the block. */
#ifndef ROOMWAKE_COMMON_BLOCK_H
#define ROOMWAKE_COMMON_BLOCK_H

#include <stdint.h>

#include "common/channel.h"
#include "common/decimal.h"

#define BLOCK_SAMPLES_MAX 65536u

/* How the samples of a block are held. */
enum block_encoding {
    BLOCK_INT32 = 0,   /* counts of the channel's step */
    BLOCK_DECIMAL = 1, /* each sample its own exact decimal: what does not fit int32 steps */
};

/* Times are on the clock that the block's holder says: node time on the wire and in the spool,
 * site time in the pipeline and the night.
 * Evenly timed: period_ps > 0 and the time of sample i is t0_ns + i * period_ps / 1000, rounded
 * half away from zero. Otherwise times_ns holds `count` strictly rising times and t0_ns =
 * times_ns[0]. count 0 is allowed (nothing changed). */
struct block {
    uint16_t channel; /* index in the node's channel list */
    enum block_encoding encoding;
    uint32_t count;
    int64_t t0_ns;
    int64_t period_ps;
    const int64_t *times_ns;
    const int32_t *counts;          /* BLOCK_INT32 */
    const struct decimal *decimals; /* BLOCK_DECIMAL */
};

int64_t block_time_ns(const struct block *block, uint32_t index);
/* The physical value of a sample, for computing; never for storing or export. */
double block_value(const struct block *block, const struct channel *channel, uint32_t index);
/* The sample's exact decimal, for export. -1 where it does not fit. */
int block_decimal(const struct block *block, const struct channel *channel, uint32_t index,
                  struct decimal *out);

#endif
