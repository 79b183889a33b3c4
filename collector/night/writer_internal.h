/* What the writer's files share. Must never be included outside writer*.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_WRITER_INTERNAL_H
#define ROOMWAKE_COLLECTOR_NIGHT_WRITER_INTERNAL_H

#include <uv.h>

#include "collector/night/boots.h"
#include "collector/night/lock.h"
#include "collector/night/queue.h"
#include "collector/night/seal.h"
#include "collector/night/store.h"
#include "collector/night/writer.h"
#include "common/clock.h"

/* Who may touch what: `lock` guards everything from `queue` to `last_seal`; the store, the batch
 * and the frame list are the writer thread's while it runs. The rest is set before it starts. */
/* So much is committed without waiting for more: a backlog drains as fast as the disk takes it. */
#define WRITER_COMMIT_BYTES (128u << 10)

struct night_writer {
    char *path;
    struct night_lock file_lock;
    size_t node_count;
    int analysis; /* the only one that may be put, for re-analysis; 0 while samples are taken */
    int64_t reserve_bytes;
    size_t queue_bytes;
    uint64_t commit_every_ns;
    night_committed committed;
    void *context;

    uv_mutex_t lock;
    uv_cond_t work; /* there is something to do */
    uv_cond_t done; /* something was committed, or failed */
    struct job_queue queue;
    size_t held_bytes; /* of the batch */
    uint64_t jobs_put;
    uint64_t jobs_committed;
    uint64_t failures;
    struct error failure;
    unsigned hurried; /* who waits: no gathering, no pause */
    bool stop;
    struct boots boots;
    int64_t last_mark;
    struct night_writer_seal last_seal; /* number 0: none */

    uv_thread_t thread;
    struct store *store;
    struct job_queue batch; /* kept until its commit returned well */
    struct night_frame_id *frames;
    size_t frames_size;
    int wal_pages;

    struct key key;
    struct seal_book *book; /* NULL for re-analysis: its seal is made at the end */
    bool extends;           /* a night that has its end: no seal but one of what was added */
    uint64_t seal_every_ns;
    struct clock_source clock;
    int64_t opened_at_ns; /* the clock's monotonic one */
    int64_t sealed_at_ns;
    int64_t start_ns; /* site time when it was opened */
};

static inline int64_t writer_now_ns(const struct night_writer *writer)
{
    return writer->clock.mono_ns(writer->clock.context);
}

/* The steps of opening, in writer_open.c; on failure the writer is the caller's to free. */
struct night_writer *writer_make(const char *path, struct error *error);
int writer_open_store(struct night_writer *writer, int flags, struct error *error);
int writer_begin_wal(struct night_writer *writer, struct error *error);
/* Boots and channels, the last mark, the longest block of a night that is there. */
int writer_load(struct night_writer *writer, struct error *error);
int writer_query_or_zero(sqlite3 *db, const char *sql, int64_t *out, struct error *error);

/* The thread's function; `argument` is the writer. */
void writer_run(void *argument);
/* Starts the thread over a store that is ready; -1 leaves everything to writer_free. */
int writer_start(struct night_writer *writer, struct error *error);
/* Ends the thread without writing what is queued. */
void writer_stop(struct night_writer *writer);
/* Closes the connection, gives up the lock and frees; the thread must have ended. */
void writer_free(struct night_writer *writer);
/* Removes what an analysis left that was never finished. Inside a transaction. */
int writer_forget_analyses(struct store *store, struct error *error);

/* After a commit: takes the new rows into the running trees and seals them where it is time. */
int writer_seal_committed(struct night_writer *writer, struct error *error);
/* Now, in a transaction of its own: of a night that is left open. */
int writer_seal_so_far(struct night_writer *writer, struct error *error);
/* Inside the last transaction of a night, or of an analysis (end_ns is not looked at). */
int writer_seal_end(struct night_writer *writer, int64_t end_ns, struct error *error);

int writer_out_of_memory(struct error *error);
/* Takes the job on success, frees it otherwise; `job` NULL: it could not be made. */
int writer_add(struct night_writer *writer, struct job *job, struct error *error);
int writer_add_locked(struct night_writer *writer, struct job *job, struct error *error);
/* Whatever the queue holds. With the lock held. */
void writer_queue_job(struct night_writer *writer, struct job *job);
int writer_check_node(const struct night_writer *writer, uint32_t node, struct error *error);
/* Samples, marks and what belongs to them are closed, and sealed, once the night is. */
int writer_check_open(const struct night_writer *writer, struct error *error);
int writer_check_recording(const struct night_writer *writer, uint32_t node, struct error *error);
int writer_check_analysis(const struct night_writer *writer, int analysis, struct error *error);

#endif
