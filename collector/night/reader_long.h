/* One long block's row, decoded. Must never trust the row. Used by reader*.c only. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_LONG_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_LONG_H

#include "collector/night/cuts.h"
#include "collector/night/sql.h"
#include "collector/night/tail.h"

/* With memory of its own, to be used again for the next; start from {0}. */
struct long_block {
    int64_t id;
    int64_t channel; /* its id: boot * 32 + place */
    int64_t span_ns;
    int64_t kind;
    /* All of its samples; period_ps is the first cut's, 0 for own times. */
    struct block block;
    struct tail_memory memory;
    struct cut *cuts;
    size_t cuts_size;
    size_t cut_count;
};
void long_block_free(struct long_block *block);

/* The columns that long_block_head and then long_block_body read. */
#define LONG_BLOCK_COLUMNS                                                                         \
    "block.id, block.channel, block.t0_ns, block.span_ns, block.n, block.codec, block.cuts,"       \
    " block.times, block.samples"
/* Numbers only, checked. */
int long_block_head(struct sql_columns *row, struct long_block *block, struct error *error);
/* Cuts, times and samples. */
int long_block_body(struct codec *codec, struct sql_columns *row, struct long_block *block,
                    struct error *error);
/* The cuts alone, where what follows them is not read. */
int long_block_cuts(struct codec *codec, struct sql_columns *row, struct long_block *block,
                    struct error *error);

/* A block of a waiting message as a long block of one cut. 1: one, 0: no more, -1: error. */
int long_block_from_tail(struct codec *codec, struct tail_reader *reader, uint64_t seq,
                         struct long_block *block, struct error *error);

#endif
