/* Sees to it that what the spool wrote reaches the disk within about a second.
 * Must never make the loop wait for the disk. */
#ifndef ROOMWAKE_NODE_FLUSHER_H
#define ROOMWAKE_NODE_FLUSHER_H

#include <stdbool.h>
#include <uv.h>

#include "node/pace.h"
#include "node/spool.h"

/* Caller-owned; must stay until the loop has closed all. Fields are private. */
struct flusher {
    uv_loop_t *loop;
    struct spool *spool;
    struct pace pace;
    uv_work_t work;
    struct spool_sync sync;
    int result;
    bool busy;
};

void flusher_start(uv_loop_t *loop, struct flusher *flusher, struct spool *spool,
                   const struct clock_source *clock);
void flusher_close(struct flusher *flusher);

#endif
