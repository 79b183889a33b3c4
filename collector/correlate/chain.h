/* Puts each sealed cluster where it belongs: an echo of what is there, the next hop of a chain, or
 * something new. Must never fuse a prompt coincidence with somebody who walks past.
 * Called by correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_CHAIN_H
#define ROOMWAKE_COLLECTOR_CORRELATE_CHAIN_H

#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/group.h"
#include "collector/correlate/layout.h"
#include "common/error.h"

/* The same node's other sensors may answer within this of its own onset. */
#define CHAIN_ECHO_NS INT64_C(1000000000)
/* The same where motion is in play: a person is within reach of a node for seconds. */
#define CHAIN_ECHO_MOTION_NS INT64_C(3000000000)

/* The groups that may still grow or be told, in order of serial. Caller-owned, start from
 * {.layout = ...}; free with chain_book_free. */
struct chain_book {
    struct layout *layout;
    size_t count;
    size_t size;
    struct group **groups;
    int64_t last_serial;
};

/* Takes the cluster, also when it fails. */
int chain_place(struct chain_book *book, struct cluster *cluster, int64_t now_ns,
                struct error *error);
/* Takes out and frees the group at this index. */
void chain_book_drop(struct chain_book *book, size_t index);
void chain_book_free(struct chain_book *book);

#endif
