/* The writer's thread: gather, commit, tell; on failure keep, tell, pause, try again.
 * Must never give up a batch or tell of a frame before its commit returned well.
 * Started by writer_open.c. */
#include "collector/night/writer_internal.h"

#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>

#include "collector/night/sql.h"

#define NS_PER_MS UINT64_C(1000000)
#define PAUSE_NS (1000 * NS_PER_MS)
/* The log is folded into the file beyond this many pages, after the frames have been told. */
#define WAL_PAGES_MOST 1000

static int check_reserve(const struct night_writer *writer, struct error *error)
{
    struct statvfs disk;
    if (statvfs(writer->path, &disk) != 0) {
        return error_set(error, ERROR_IO, "%s", strerror(errno));
    }
    __int128 left = (__int128)disk.f_bavail * disk.f_frsize;
    if (left >= writer->reserve_bytes) {
        return 0;
    }
    return error_set(error, ERROR_FULL, "the disk has %llu MiB left, %lld are kept in reserve",
                     (unsigned long long)(left >> 20), (long long)writer->reserve_bytes >> 20);
}

/* Room for the ids of all of the batch's frames, before anything is written. */
static int grow_frames(struct night_writer *writer, struct error *error)
{
    if (writer->batch.count <= writer->frames_size) {
        return 0;
    }
    size_t size = 2 * writer->batch.count;
    struct night_frame_id *frames = realloc(writer->frames, size * sizeof *frames);
    if (!frames) {
        return error_set(error, ERROR_MEMORY, "out of memory");
    }
    writer->frames = frames;
    writer->frames_size = size;
    return 0;
}

static int write_batch(struct night_writer *writer, size_t *frames, struct error *error)
{
    struct store *store = writer->store;
    if (check_reserve(writer, error) != 0 || grow_frames(writer, error) != 0 ||
        store_begin(store, error) != 0) {
        return -1;
    }
    for (const struct job *job = writer->batch.head; job; job = job->next) {
        if (store_apply(store, job, error) != 0) {
            store_rollback(store);
            return -1;
        }
        if (job->kind == JOB_FRAME) {
            writer->frames[(*frames)++] = job->frame.id;
        }
    }
    if (store_commit(store, error) != 0) {
        store_rollback(store);
        return -1;
    }
    return 0;
}

static void tell(struct night_writer *writer, size_t frames, const struct error *failure)
{
    if (writer->committed) {
        writer->committed(writer->context, writer->frames, frames, failure);
    }
}

/* Counted after the callback, so that who waited finds the frames told. */
static void count_outcome(struct night_writer *writer, size_t jobs, const struct error *failure)
{
    uv_mutex_lock(&writer->lock);
    if (failure) {
        writer->failures++;
        writer->failure = *failure;
    } else {
        writer->jobs_committed += jobs;
        writer->held_bytes = 0;
    }
    uv_cond_broadcast(&writer->done);
    uv_mutex_unlock(&writer->lock);
}

/* The frames are safe by now: a seal that fails is told and tried again after the next commit. */
static void seal_committed(struct night_writer *writer)
{
    struct error failure;
    if (writer_seal_committed(writer, &failure) != 0) {
        (void)error_wrap(&failure, "%s", writer->path);
        tell(writer, 0, &failure);
    }
}

static void fold_log(struct night_writer *writer)
{
    if (writer->wal_pages < WAL_PAGES_MOST) {
        return;
    }
    sqlite3 *db = writer->store->db;
    int rc = sqlite3_wal_checkpoint_v2(db, NULL, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL);
    if (rc != SQLITE_OK && rc != SQLITE_BUSY) {
        struct error failure;
        (void)sql_fail(db, &failure);
        (void)error_wrap(&failure, "%s", writer->path);
        tell(writer, 0, &failure);
    }
}

static bool commit_batch(struct night_writer *writer)
{
    struct error failure = {0};
    size_t frames = 0;
    size_t jobs = writer->batch.count;
    if (write_batch(writer, &frames, &failure) != 0) {
        (void)error_wrap(&failure, "%s", writer->path);
        tell(writer, 0, &failure);
        count_outcome(writer, 0, &failure);
        return false;
    }
    job_queue_clear(&writer->batch);
    tell(writer, frames, NULL);
    count_outcome(writer, jobs, NULL);
    seal_committed(writer);
    fold_log(writer);
    return true;
}

/* Waits for jobs, then a little for more of them; false when it is time to end. */
static bool gather(struct night_writer *writer, bool failed)
{
    uv_mutex_lock(&writer->lock);
    while (!writer->stop && !writer->queue.head && !writer->batch.head) {
        uv_cond_wait(&writer->work, &writer->lock);
    }
    int64_t now_ns = writer_now_ns(writer);
    const int64_t until_ns = now_ns + (int64_t)(failed ? PAUSE_NS : writer->commit_every_ns);
    while (!writer->stop && writer->hurried == 0 && now_ns < until_ns &&
           (failed || writer->queue.bytes < WRITER_COMMIT_BYTES)) {
        (void)uv_cond_timedwait(&writer->work, &writer->lock, (uint64_t)(until_ns - now_ns));
        now_ns = writer_now_ns(writer);
    }
    bool go_on = !writer->stop;
    if (go_on) {
        writer->held_bytes += writer->queue.bytes;
        job_queue_take(&writer->batch, &writer->queue);
    }
    uv_mutex_unlock(&writer->lock);
    return go_on;
}

void writer_run(void *argument)
{
    struct night_writer *writer = argument;
    bool failed = false;
    while (gather(writer, failed)) {
        failed = !commit_batch(writer);
    }
}
