/* When the writer seals: after commits at intervals, and in the last transaction.
 * Must never hold up the word that frames are stored: that is told before.
 * Called by writer_thread.c and writer_close.c. */
#include "collector/night/writer_internal.h"

#include <string.h>

#include "common/clock.h"

/* The site's clock: what it was when the night was opened, and what has passed since. */
static int64_t site_now_ns(const struct night_writer *writer)
{
    return writer->start_ns + (writer_now_ns(writer) - writer->opened_at_ns);
}

static void remember(struct night_writer *writer, const struct seal *seal)
{
    uv_mutex_lock(&writer->lock);
    writer->last_seal = (struct night_writer_seal){.number = seal->id, .time_ns = seal->time_ns};
    _Static_assert(sizeof writer->last_seal.root == sizeof seal->root, "one kind of hash");
    memcpy(writer->last_seal.root, seal->root, sizeof seal->root);
    uv_mutex_unlock(&writer->lock);
}

bool night_writer_last_seal(struct night_writer *writer, struct night_writer_seal *seal)
{
    uv_mutex_lock(&writer->lock);
    *seal = writer->last_seal;
    uv_mutex_unlock(&writer->lock);
    return seal->number != 0;
}

static int write_so_far(struct night_writer *writer, struct seal *seal, struct error *error)
{
    struct store *store = writer->store;
    if (store_begin(store, error) != 0) {
        return -1;
    }
    if (seal_book_write(writer->book, &writer->key, SEAL_SO_FAR, site_now_ns(writer), seal,
                        error) != 0 ||
        store_commit(store, error) != 0) {
        store_rollback(store);
        return -1;
    }
    seal_book_written(writer->book);
    return 0;
}

int writer_seal_committed(struct night_writer *writer, struct error *error)
{
    if (!writer->book) {
        return 0;
    }
    if (seal_book_catch_up(writer->book, error) != 0) {
        return -1;
    }
    int64_t now_ns = writer_now_ns(writer);
    if (writer->extends || now_ns - writer->sealed_at_ns < (int64_t)writer->seal_every_ns) {
        return 0;
    }
    struct seal seal;
    if (write_so_far(writer, &seal, error) != 0) {
        return -1;
    }
    remember(writer, &seal);
    writer->sealed_at_ns = now_ns;
    return 0;
}

int writer_seal_so_far(struct night_writer *writer, struct error *error)
{
    struct seal seal; /* nobody asks for it any more: the thread and its lock are gone */
    return seal_book_catch_up(writer->book, error) == 0 ? write_so_far(writer, &seal, error) : -1;
}

int writer_seal_end(struct night_writer *writer, int64_t end_ns, struct error *error)
{
    sqlite3 *db = writer->store->db;
    struct seal seal;
    const enum seal_what what = writer->extends ? SEAL_ADDED : SEAL_SAMPLES;
    if (!writer->book || writer->extends) { /* long after the night: by the machine's clock */
        struct clock_source clock = clock_system();
        end_ns = clock.real_ns(clock.context);
    }
    if (!writer->book) {
        return seal_write_analyses(db, &writer->key, end_ns, error);
    }
    if (seal_book_catch_up(writer->book, error) != 0 ||
        seal_book_write(writer->book, &writer->key, what, end_ns, &seal, error) != 0) {
        return -1;
    }
    return seal_write_analyses(db, &writer->key, end_ns, error);
}
