/* A node's blocks from node time to site time. Pure.
 * Must never let a channel's site time stand still or go back, whatever a new clock fit says. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_COOK_H
#define ROOMWAKE_COLLECTOR_INGEST_COOK_H

#include <stddef.h>
#include <stdint.h>

#include "common/block.h"
#include "common/clock_fit.h"
#include "common/error.h"

/* One node's. Caller-owned. */
struct cook {
    int64_t last_ns[NODE_CHANNELS_MAX]; /* site time of the last sample; INT64_MIN before any */
    int64_t until_ns;                   /* what the node was last advanced to */
};

void cook_init(struct cook *cook);

/* Whether every time of the block, and until_node_ns, stays far from the ends of int64 under this
 * fit. */
int cook_check(const struct clock_fit *fit, const struct block *block, int64_t until_node_ns,
               struct error *error);

/* *out = the block in site time. Starts at max(fit(t0), the channel's last + 1 ns, until_ns); where
 * that is later than the fit says, the block is squeezed, to half its period at most, so that it
 * catches up. `times_ns` (block->count long) holds the out-block's times where they are explicit.
 * The block must have passed cook_check. */
void cook_block(struct cook *cook, const struct clock_fit *fit, const struct block *block,
                int64_t *times_ns, struct block *out);
/* until_node_ns in site time, never before what it was nor before a sample told. */
int64_t cook_until(struct cook *cook, const struct clock_fit *fit, int64_t until_node_ns);

/* 1 sigma, rounded up to two significant decimal digits, so that it changes rarely. */
int64_t cook_round_uncertainty(int64_t uncertainty_ns);

#endif
