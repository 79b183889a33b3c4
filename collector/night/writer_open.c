/* Begins a night, takes up one that was left, or opens a closed one for another analysis.
 * Must never leave half a night behind when it fails. Called by record, import and reanalyse. */
#include "collector/night/writer_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "collector/night/night_copy.h"
#include "collector/night/schema.h"
#include "collector/night/sql.h"
#include "collector/night/writer_site.h"

#define COMMIT_EVERY_MS 200
#define RESERVE_BYTES (INT64_C(64) << 20)
#define QUEUE_BYTES ((size_t)64 << 20)
#define SEAL_EVERY_MS 300000
#define NS_PER_MS UINT64_C(1000000)
/* The writer's thread may sleep this long for a reader that is in the way. */
#define BUSY_MS 5000

static int on_wal(void *context, sqlite3 *db, const char *name, int pages)
{
    struct night_writer *writer = context;
    (void)db;
    (void)name;
    writer->wal_pages = pages;
    return SQLITE_OK;
}

int writer_open_store(struct night_writer *writer, int flags, struct error *error)
{
    sqlite3 *db = NULL;
    int rc = sqlite3_open_v2(writer->path, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX | flags,
                             NULL);
    int result = rc == SQLITE_OK ? 0 : sql_fail(db, error);
    if (result == 0) {
        (void)sqlite3_busy_timeout(db, BUSY_MS);
        result = schema_distrust(db, error);
    }
    if (result == 0) {
        result = store_new(db, &writer->store, error);
    }
    if (result != 0) {
        sqlite3_close(db);
    }
    return result;
}

/* Every commit is synced before it is told; the log is folded by writer_thread.c alone. */
int writer_begin_wal(struct night_writer *writer, struct error *error)
{
    sqlite3 *db = writer->store->db;
    (void)sqlite3_wal_hook(db, on_wal, writer);
    if (sql_set_journal(db, "wal", error) != 0) {
        return -1;
    }
    return sql_exec(db, "PRAGMA synchronous=FULL; PRAGMA journal_size_limit=16777216", error);
}

struct night_writer *writer_make(const char *path, struct error *error)
{
    struct night_writer *writer = calloc(1, sizeof *writer);
    char *copy = strdup(path);
    if (!writer || !copy) {
        free(writer);
        free(copy);
        (void)writer_out_of_memory(error);
        return NULL;
    }
    writer->path = copy;
    writer->file_lock.descriptor = -1;
    writer->commit_every_ns = COMMIT_EVERY_MS * NS_PER_MS;
    writer->reserve_bytes = RESERVE_BYTES;
    writer->queue_bytes = QUEUE_BYTES;
    writer->seal_every_ns = SEAL_EVERY_MS * NS_PER_MS;
    writer->clock = clock_system();
    writer->opened_at_ns = writer->sealed_at_ns = writer_now_ns(writer);
    return writer;
}

static void apply_settings(struct night_writer *writer, const struct night_settings *settings)
{
    writer->node_count = settings->site->node_count;
    if (settings->commit_every_ms > 0) {
        writer->commit_every_ns = (uint64_t)settings->commit_every_ms * NS_PER_MS;
    }
    if (settings->reserve_bytes > 0) {
        writer->reserve_bytes = settings->reserve_bytes;
    }
    if (settings->queue_bytes > 0) {
        writer->queue_bytes = settings->queue_bytes;
    }
    if (settings->seal_every_ms > 0) {
        writer->seal_every_ns = (uint64_t)settings->seal_every_ms * NS_PER_MS;
    }
    writer->start_ns = settings->start_ns;
    if (settings->clock.mono_ns) {
        writer->clock = settings->clock;
        writer->opened_at_ns = writer->sealed_at_ns = writer_now_ns(writer);
    }
}

static int create_all(struct night_writer *writer, const struct night_settings *settings,
                      struct error *error)
{
    struct store *store = writer->store;
    if (schema_prepare(store->db, error) != 0 || writer_begin_wal(writer, error) != 0 ||
        store_begin(store, error) != 0) {
        return -1;
    }
    if (schema_create(store->db, error) != 0 || writer_put_site(store, settings, error) != 0 ||
        store_commit(store, error) != 0) {
        store_rollback(store);
        return -1;
    }
    return 0;
}

static int create(struct night_writer *writer, const struct night_settings *settings,
                  struct error *error)
{
    if (access(writer->path, F_OK) == 0) {
        return error_set(error, ERROR_BUSY, "exists already");
    }
    if (writer_open_store(writer, SQLITE_OPEN_CREATE, error) != 0) {
        return -1;
    }
    if (create_all(writer, settings, error) != 0 || writer_sync_folder(writer->path, error) != 0) {
        store_free(writer->store);
        writer->store = NULL;
        night_remove(writer->path);
        return -1;
    }
    return 0;
}

static int load_boots(struct night_writer *writer, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(writer->store->db,
                    "SELECT channel.id, node, boot.boot, name, unit, rate_hz, period_ps,"
                    " step_mantissa, step_exponent, offset_mantissa, offset_exponent, least,"
                    " most, calibration"
                    " FROM boot JOIN channel ON channel.boot=boot.id ORDER BY boot.id, place",
                    &statement, error) != 0) {
        return -1;
    }
    int result = 0;
    while ((result = sql_step(statement, error)) == 1) {
        if (writer_load_channel(writer, statement, error) != 0) {
            result = -1;
            break;
        }
    }
    sqlite3_finalize(statement);
    return result;
}

int writer_query_or_zero(sqlite3 *db, const char *sql, int64_t *out, struct error *error)
{
    struct error nothing;
    *out = 0;
    if (sql_query_int(db, sql, out, &nothing) != 0 && nothing.code != ERROR_NOT_FOUND) {
        *error = nothing;
        return -1;
    }
    return 0;
}

int writer_load(struct night_writer *writer, struct error *error)
{
    sqlite3 *db = writer->store->db;
    if (load_boots(writer, error) != 0 ||
        writer_query_or_zero(db, "SELECT max(id) FROM mark", &writer->last_mark, error) != 0 ||
        writer_query_or_zero(db, "SELECT max(value) FROM meta WHERE key GLOB 'longest_block_ns*'",
                             &writer->store->memory.longest_ns, error) != 0) {
        return -1;
    }
    writer->store->tail.stale = true; /* what waits is read with the first transaction */
    return 0;
}

static int reopen(struct night_writer *writer, const struct night_settings *settings,
                  struct error *error)
{
    int64_t end_ns = 0;
    if (access(writer->path, F_OK) != 0) {
        return error_set(error, ERROR_NOT_FOUND, "%s", strerror(errno));
    }
    if (writer_open_store(writer, 0, error) != 0 || schema_check(writer->store->db, error) != 0 ||
        writer_query_or_zero(writer->store->db, "SELECT value FROM meta WHERE key='end_ns'",
                             &end_ns, error) != 0) {
        return -1;
    }
    if (end_ns != 0) {
        return error_set(error, ERROR_STATE, "was closed: a closed night is not continued");
    }
    if (writer_check_site(writer->store, settings, error) != 0 ||
        writer_begin_wal(writer, error) != 0) {
        return -1;
    }
    return writer_load(writer, error);
}

int night_writer_open(const struct night_settings *settings, night_committed committed,
                      void *context, struct night_writer **writer, struct error *error)
{
    struct night_writer *made = writer_make(settings->path, error);
    if (!made) {
        return -1;
    }
    apply_settings(made, settings);
    made->committed = committed;
    made->context = context;
    if (key_load(&made->key, error) != 0 ||
        night_lock_take(&made->file_lock, made->path, error) != 0) {
        writer_free(made);
        return -1;
    }
    int result = settings->reopen ? reopen(made, settings, error) : create(made, settings, error);
    if (result != 0 || seal_book_new(made->store->db, &made->book, error) != 0 ||
        writer_start(made, error) != 0) {
        writer_free(made);
        return error_wrap(error, "%s", settings->path);
    }
    *writer = made;
    return 0;
}

static int begin_analysis(struct night_writer *writer, struct error *error)
{
    struct store *store = writer->store;
    int64_t end_ns = 0;
    int64_t newest = 0;
    int64_t nodes = 0;
    if (schema_check(store->db, error) != 0 ||
        writer_query_or_zero(store->db, "SELECT value FROM meta WHERE key='end_ns'", &end_ns,
                             error) != 0) {
        return -1;
    }
    if (end_ns == 0) {
        return error_set(error, ERROR_STATE, "is not closed yet");
    }
    if (sql_exec(store->db, "PRAGMA synchronous=FULL", error) != 0 ||
        store_begin(store, error) != 0) {
        return -1;
    }
    if (writer_forget_analyses(store, error) != 0 || store_commit(store, error) != 0) {
        store_rollback(store);
        return -1;
    }
    if (writer_query_or_zero(store->db, "SELECT max(id) FROM analysis", &newest, error) != 0 ||
        writer_query_or_zero(store->db, "SELECT max(id) FROM mark", &writer->last_mark, error) !=
            0 ||
        sql_query_int(store->db, "SELECT count(*) FROM node", &nodes, error) != 0) {
        return -1;
    }
    writer->node_count = (size_t)nodes;
    writer->analysis = (int)newest + 1;
    return 0;
}

int night_writer_open_for_analysis(const char *path, int *analysis, struct night_writer **writer,
                                   struct error *error)
{
    struct night_writer *made = writer_make(path, error);
    if (!made) {
        return -1;
    }
    int result = 0;
    if (access(path, F_OK) != 0) {
        result = error_set(error, ERROR_NOT_FOUND, "%s: %s", path, strerror(errno));
    } else if (key_load(&made->key, error) != 0 ||
               night_lock_take(&made->file_lock, path, error) != 0) {
        result = -1;
    }
    if (result == 0 && (writer_open_store(made, 0, error) != 0 ||
                        begin_analysis(made, error) != 0 || writer_start(made, error) != 0)) {
        result = error_wrap(error, "%s", path);
    }
    if (result != 0) {
        writer_free(made);
        return -1;
    }
    *analysis = made->analysis;
    *writer = made;
    return 0;
}
