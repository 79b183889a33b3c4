/* fdatasync on libuv's worker threads, one at a time.
 * Must never be called on two files at once by one spool. Called by node.c. */
#include "node/flusher.h"

#define FLUSH_EVERY_NS NS_PER_S

static void on_work(uv_work_t *work)
{
    struct flusher *flusher = work->data;
    flusher->result = spool_sync_run(&flusher->sync);
}

static void on_work_done(uv_work_t *work, int status)
{
    struct flusher *flusher = work->data;
    flusher->busy = false;
    if (status == 0) {
        spool_sync_done(flusher->spool, flusher->result);
    }
}

static void on_due(void *context, int64_t now_ns)
{
    struct flusher *flusher = context;
    (void)now_ns;
    if (flusher->busy || !spool_sync_take(flusher->spool, &flusher->sync)) {
        return;
    }
    flusher->busy = true;
    if (uv_queue_work(flusher->loop, &flusher->work, on_work, on_work_done)) {
        on_work(&flusher->work);
        on_work_done(&flusher->work, 0);
    }
}

void flusher_start(uv_loop_t *loop, struct flusher *flusher, struct spool *spool,
                   const struct clock_source *clock)
{
    *flusher = (struct flusher){.loop = loop, .spool = spool};
    flusher->work.data = flusher;
    pace_start(loop, &flusher->pace, clock, FLUSH_EVERY_NS, on_due, flusher);
}

void flusher_close(struct flusher *flusher)
{
    pace_close(&flusher->pace);
}
