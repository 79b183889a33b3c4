/* Messages on their way into long blocks: kept as they came, each in the commit that acknowledges
 * it, until about 32 s of their boot make blocks worth their rows. Must never lose or double a
 * sample: a message leaves the tail in the transaction that stores its blocks.
 * Used by the store's files only. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_STORE_TAIL_H
#define ROOMWAKE_COLLECTOR_NIGHT_STORE_TAIL_H

#include <stdbool.h>

#include "collector/night/gathered.h"
#include "collector/night/queue.h"
#include "collector/night/tail.h"

struct store;

/* What waits of one channel. */
struct tail_channel {
    uint32_t samples;
    enum block_encoding encoding;
    int64_t period_ps; /* 0: own times */
    int64_t last_ns;
    uint32_t stored_samples; /* of its last block, and how long its row became */
    uint32_t stored_bytes;
};

/* What waits of one boot; places are given out from 1. */
struct tail_boot {
    int64_t first;
    int64_t next;
    uint32_t age; /* messages since the first, those without samples too */
    bool clocked;
    int64_t start_ns;
    int64_t end_ns;
    struct tail_channel channels[NODE_CHANNELS_MAX];
};

struct store_tail {
    struct tail_boot *boots; /* by boot id */
    size_t count;
    bool stale; /* a transaction failed: what waits is to be read from the night again */
    struct tail_bytes bytes;
    struct tail_memory memory;
    struct gathered gathered[NODE_CHANNELS_MAX];
};

/* Inside a transaction. Where it is stale: reads what waits. */
int store_tail_load(struct store *store, struct error *error);
/* Takes a message whose row `frame` is stored; makes blocks where that is due. */
int store_tail_put(struct store *store, const struct job_frame *job, int64_t frame,
                   struct error *error);
/* Blocks of all that waits. */
int store_tail_finish(struct store *store, struct error *error);
void store_tail_free(struct store_tail *tail);

/* A long block's row and its zoom: in store_block.c. *bytes is about how long the row became. */
int store_block(struct store *store, int64_t channel, struct gathered *gathered, uint32_t *bytes,
                struct error *error);

#endif
