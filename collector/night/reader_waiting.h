/* Messages that wait in a live night until enough have come for long blocks.
 * Must never trust their bytes. Used by reader*.c only. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_WAITING_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_WAITING_H

#include "collector/night/reader.h"
#include "collector/night/reader_long.h"

struct waiting_channels;

struct reader_waiting {
    uint32_t node;
    uint64_t boot;
    int64_t boot_id;
    uint64_t seq;
    struct tail_reader blocks;
    const struct waiting_channels *channels;
};

/* Calls `each` for every waiting message of a node (-1: all), those of a boot in their order,
 * within a transaction of the caller's. A non-zero return of `each` ends it and is returned. */
int reader_each_waiting(struct night_reader *reader, int64_t node,
                        int (*each)(void *context, const struct reader_waiting *waiting,
                                    struct error *error),
                        void *context, struct error *error);

/* Node, boot and channel of a waiting block; false where there is no such channel. */
bool reader_find_channel(const struct reader_waiting *waiting, const struct long_block *block,
                         struct night_block_row *row);

#endif
