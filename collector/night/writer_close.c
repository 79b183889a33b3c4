/* Waiting for the disk, ending a night, giving one up.
 * Must never call a night closed that is not one whole file. Called by record, import, reanalyse.
 */
#include "collector/night/writer_internal.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/night_copy.h"
#include "collector/night/night_fold.h"
#include "collector/night/sql.h"
#include "collector/night/writer_site.h"

/* So long a program that still reads the night is waited for, where nobody else waits. */
#define FOLD_WAIT_MS 5000

int writer_start(struct night_writer *writer, struct error *error)
{
    int rc = uv_mutex_init(&writer->lock);
    if (rc == 0 && (rc = uv_cond_init(&writer->work)) != 0) {
        uv_mutex_destroy(&writer->lock);
    }
    if (rc == 0 && (rc = uv_cond_init(&writer->done)) != 0) {
        uv_cond_destroy(&writer->work);
        uv_mutex_destroy(&writer->lock);
    }
    if (rc == 0 && (rc = uv_thread_create(&writer->thread, writer_run, writer)) != 0) {
        uv_cond_destroy(&writer->done);
        uv_cond_destroy(&writer->work);
        uv_mutex_destroy(&writer->lock);
    }
    return rc == 0 ? 0 : error_set(error, ERROR_MEMORY, "writer's thread: %s", uv_strerror(rc));
}

void writer_stop(struct night_writer *writer)
{
    uv_mutex_lock(&writer->lock);
    writer->stop = true;
    uv_cond_signal(&writer->work);
    uv_mutex_unlock(&writer->lock);
    uv_thread_join(&writer->thread);
    uv_cond_destroy(&writer->done);
    uv_cond_destroy(&writer->work);
    uv_mutex_destroy(&writer->lock);
}

void writer_free(struct night_writer *writer)
{
    seal_book_free(writer->book);
    store_free(writer->store);
    key_forget(&writer->key);
    night_lock_release(&writer->file_lock);
    job_queue_clear(&writer->queue);
    job_queue_clear(&writer->batch);
    boots_free(&writer->boots);
    free(writer->frames);
    free(writer->path);
    free(writer);
}

int night_writer_flush(struct night_writer *writer, struct error *error)
{
    uv_mutex_lock(&writer->lock);
    uint64_t target = writer->jobs_put;
    uint64_t failures = writer->failures;
    writer->hurried++;
    uv_cond_signal(&writer->work);
    while (writer->jobs_committed < target && writer->failures == failures) {
        uv_cond_wait(&writer->done, &writer->lock);
    }
    writer->hurried--;
    int result = 0;
    if (writer->jobs_committed < target) {
        *error = writer->failure;
        result = -1;
    }
    uv_mutex_unlock(&writer->lock);
    return result;
}

int writer_forget_analyses(struct store *store, struct error *error)
{
    static const char *const tables[] = {"disturbance",
                                         "coincidence",
                                         "coincidence_member",
                                         "coincidence_order",
                                         "coincidence_path",
                                         "coincidence_reason",
                                         "alert",
                                         "notice"};
    for (size_t i = 0; i < sizeof tables / sizeof *tables; i++) {
        char *sql = sqlite3_mprintf("DELETE FROM %s WHERE analysis > %d AND analysis NOT IN"
                                    " (SELECT id FROM analysis WHERE done)",
                                    tables[i], NIGHT_ANALYSIS_LIVE);
        int result = sql ? sql_exec(store->db, sql, error) : writer_out_of_memory(error);
        sqlite3_free(sql);
        if (result != 0) {
            return -1;
        }
    }
    return sql_exec(store->db, "DELETE FROM analysis WHERE id > 1 AND NOT done", error);
}

/* The last rows of a night, or of an analysis. */
static int write_end(struct night_writer *writer, int64_t end_ns, struct error *error)
{
    struct store *store = writer->store;
    if (store_begin(store, error) != 0) {
        return -1;
    }
    int result = sql_exec(store->db, "UPDATE analysis SET done=1", error);
    if (result == 0 && writer->analysis == 0 &&
        (store_tail_finish(store, error) != 0 ||
         (!writer->extends && store_set_meta_int(store, "end_ns", end_ns, error) != 0))) {
        result = -1;
    }
    if (result == 0) {
        result = writer_seal_end(writer, end_ns, error);
    }
    if (result != 0 || store_commit(store, error) != 0) {
        store_rollback(store);
        return -1;
    }
    return 0;
}

/* So that a seal of a night that is left open covers all of its samples. */
static int write_blocks(struct store *store, struct error *error)
{
    if (store_begin(store, error) != 0) {
        return -1;
    }
    if (store_tail_finish(store, error) != 0 || store_commit(store, error) != 0) {
        store_rollback(store);
        return -1;
    }
    return 0;
}

static int finish(struct night_writer *writer, int64_t end_ns, struct error *error)
{
    if (writer->analysis != 0) {
        return write_end(writer, 0, error);
    }
    if (end_ns == 0) {
        return write_blocks(writer->store, error) == 0 ? writer_seal_so_far(writer, error) : -1;
    }
    return write_end(writer, end_ns, error);
}

/* Closing the connection folds the log in, where no other program has the night open. */
static void close_store(struct night_writer *writer)
{
    seal_book_free(writer->book);
    writer->book = NULL;
    store_free(writer->store);
    writer->store = NULL;
}

static int flush_and_finish(struct night_writer *writer, int64_t end_ns, struct error *error)
{
    int result = night_writer_flush(writer, error);
    writer_stop(writer);
    if (result != 0) {
        return error_wrap(error, "not closed; all that was told as stored is safe");
    }
    return finish(writer, end_ns, error) == 0
               ? 0
               : error_wrap(error, "%s: not closed; all samples are stored", writer->path);
}

int night_writer_end(struct night_writer *writer, int64_t end_ns, struct error *error)
{
    int result = flush_and_finish(writer, end_ns, error);
    writer_free(writer);
    return result;
}

int night_writer_close(struct night_writer *writer, int64_t end_ns, struct error *error)
{
    bool whole = false;
    int result = flush_and_finish(writer, end_ns, error);
    if (result == 0 && writer->analysis == 0 && end_ns != 0) {
        close_store(writer);
        if (night_fold(writer->path, FOLD_WAIT_MS, &whole, error) != 0) {
            result = error_wrap(error, "not closed; all samples are stored");
        }
    }
    writer_free(writer);
    return result;
}

/* The disk may refuse this too: the next analysis then removes it. */
static void abandon_analysis(struct store *store)
{
    struct error ignored;
    if (store_begin(store, &ignored) == 0 &&
        (writer_forget_analyses(store, &ignored) != 0 || store_commit(store, &ignored) != 0)) {
        store_rollback(store);
    }
}

void night_writer_abandon(struct night_writer *writer)
{
    writer_stop(writer);
    if (writer->analysis != 0) {
        abandon_analysis(writer->store);
    } else {
        close_store(writer);
        night_remove(writer->path);
    }
    writer_free(writer);
}
