/* Opens a night that has its end for what comes later: a recorder's level.
 * Must never change a row that was sealed. Called by record/recorder. */
#include "collector/night/writer_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "collector/night/schema.h"
#include "collector/night/sql.h"
#include "collector/night/writer_site.h"

/* A row of meta that was sealed is never written again: each addition has one of its own. */
static int name_longest(struct store *store, struct error *error)
{
    int64_t additions = 0;
    if (sql_query_int(store->db, "SELECT count(*) FROM seal WHERE what = 'added'", &additions,
                      error) != 0) {
        return -1;
    }
    (void)snprintf(store->longest_key, sizeof store->longest_key, "longest_block_ns_%04" PRId64,
                   additions + 1);
    return 0;
}

static int check_closed(struct night_writer *writer, struct error *error)
{
    sqlite3 *db = writer->store->db;
    int64_t end_ns = 0;
    if (schema_check(db, error) != 0 ||
        writer_query_or_zero(db, "SELECT value FROM meta WHERE key='end_ns'", &end_ns, error) !=
            0) {
        return -1;
    }
    return end_ns != 0 ? 0 : error_set(error, ERROR_STATE, "is not closed yet");
}

static int extend_site(struct store *store, const struct site *site, const char *site_text,
                       struct error *error)
{
    if (store_begin(store, error) != 0) {
        return -1;
    }
    if (writer_forget_analyses(store, error) != 0 ||
        (site_text && writer_put_more_site(store, site, site_text, error) != 0) ||
        store_commit(store, error) != 0) {
        store_rollback(store);
        return -1;
    }
    return 0;
}

static int extend(struct night_writer *writer, const struct site *site, const char *site_text,
                  struct error *error)
{
    if (access(writer->path, F_OK) != 0) {
        return error_set(error, ERROR_NOT_FOUND, "%s", strerror(errno));
    }
    if (key_load(&writer->key, error) != 0 ||
        night_lock_take(&writer->file_lock, writer->path, error) != 0 ||
        writer_open_store(writer, 0, error) != 0 || check_closed(writer, error) != 0 ||
        writer_begin_wal(writer, error) != 0 || writer_load(writer, error) != 0 ||
        name_longest(writer->store, error) != 0 ||
        extend_site(writer->store, site, site_text, error) != 0) {
        return -1;
    }
    return seal_book_new(writer->store->db, &writer->book, error);
}

int night_writer_open_to_extend(const char *path, const struct site *site, const char *site_text,
                                struct night_writer **writer, struct error *error)
{
    struct night_writer *made = writer_make(path, error);
    if (!made) {
        return -1;
    }
    made->extends = true;
    made->node_count = site->node_count;
    if (extend(made, site, site_text, error) != 0 || writer_start(made, error) != 0) {
        writer_free(made);
        return error_wrap(error, "%s", path);
    }
    *writer = made;
    return 0;
}
