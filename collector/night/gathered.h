/* One channel's samples while a long block is made of them.
 * Must never hold more than one block's. Used by the store's files. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_GATHERED_H
#define ROOMWAKE_COLLECTOR_NIGHT_GATHERED_H

#include <stdbool.h>

#include "collector/night/cuts.h"

struct gathered {
    int32_t *counts;
    struct decimal *decimals;
    int64_t *times_ns;
    size_t counts_size;
    size_t decimals_size;
    size_t times_size;
    uint32_t count;
    enum block_encoding encoding;
    bool even;
    bool clocked;
    struct cut *cuts;
    size_t cuts_size;
    size_t cut_count;
};

/* Takes a copy of a block's samples. ERROR_FORMAT where it is of another kind than those before, or
 * there would be too many. */
int gathered_add(struct gathered *gathered, const struct block *block, uint64_t seq,
                 int64_t node_t0_ns, struct error *error);
void gathered_free(struct gathered *gathered);

#endif
