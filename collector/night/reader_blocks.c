/* The blocks of a night in the order of their first samples.
 * Must never hold a statement between two steps: a long export would keep the writer's log from
 * being folded. Called by export and re-analysis, and by reader_window.c. */
#include "collector/night/reader_heap.h"
#include "collector/night/reader_internal.h"
#include "collector/night/reader_waiting.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PAGE_BLOCKS 256u
/* Ids of blocks of waiting messages: after all others of the same time. */
#define TAIL_ID (INT64_C(1) << 62)

struct block_row {
    int64_t t0_ns;
    int64_t id;
};

struct night_blocks {
    struct night_reader *reader;
    sqlite3_stmt *page_statement;
    sqlite3_stmt *block_statement;
    int64_t from_ns;
    int64_t to_ns;
    int64_t node; /* -1: all */
    char channel[CHANNEL_NAME_SIZE];
    int64_t last_id; /* what a writer adds later is left out */
    int64_t tail_ids;
    struct block_row page[PAGE_BLOCKS];
    size_t page_count;
    size_t page_next;
    struct block_row after; /* the last row of the page before */
    bool all_rows;
    struct block_heap heap;
    struct pending *current; /* handed out */
};

static bool in_window(const struct night_blocks *cursor, const struct long_block *block)
{
    return block->block.t0_ns < cursor->to_ns &&
           block->block.t0_ns + block->span_ns >= cursor->from_ns;
}

/* Makes `row` the first cut that reaches into the window; false where there is none. */
static bool begin(const struct night_blocks *cursor, struct pending *pending, bool first)
{
    bool there = first ? pending_first(pending) : pending_next(pending);
    while (there) {
        const struct block *block = &pending->row.block;
        if (block->t0_ns >= cursor->to_ns) {
            return false;
        }
        if (block_time_ns(block, block->count - 1) >= cursor->from_ns) {
            return true;
        }
        there = pending_next(pending);
    }
    return false;
}

/* Node, boot and the channel: the columns of WHOSE. */
#define WHOSE "node, boot.boot, " READER_CHANNEL_COLUMNS
static void get_whose(struct sql_columns *columns, struct night_block_row *row)
{
    char boot[17];
    *row = (struct night_block_row){.node = (uint32_t)sql_get_int(columns)};
    sql_get_text(columns, boot, sizeof boot);
    row->boot = strtoull(boot, NULL, 16);
    reader_get_channel(columns, &row->channel);
}

/* 1: taken, 0: outside the window, -1: damaged. */
static int decode_row(struct night_blocks *cursor, struct pending *pending, struct error *error)
{
    struct sql_columns columns = sql_columns(cursor->block_statement);
    get_whose(&columns, &pending->row);
    if (long_block_head(&columns, &pending->whole, error) != 0) {
        return -1;
    }
    if (!in_window(cursor, &pending->whole)) {
        return 0;
    }
    return long_block_body(cursor->reader->codec, &columns, &pending->whole, error) == 0 ? 1 : -1;
}

/* Into the heap, or back to the free ones. */
static int keep(struct night_blocks *cursor, struct pending *pending, int taken,
                struct error *error)
{
    if (taken < 0) {
        (void)error_wrap(error, "block %lld", (long long)pending->whole.id);
    }
    if (taken <= 0 || !begin(cursor, pending, true)) {
        block_heap_release(&cursor->heap, pending);
        return taken < 0 ? -1 : 0;
    }
    if (block_heap_push(&cursor->heap, pending, error) != 0) {
        block_heap_release(&cursor->heap, pending);
        return -1;
    }
    return 0;
}

static int take_row(struct night_blocks *cursor, int64_t id, struct error *error)
{
    struct sql_args args = sql_args(cursor->block_statement);
    sql_put_int(&args, id);
    int more = sql_step(cursor->block_statement, error);
    if (more != 1) {
        return more;
    }
    struct pending *pending = block_heap_acquire(&cursor->heap, error);
    int result = pending ? keep(cursor, pending, decode_row(cursor, pending, error), error) : -1;
    sqlite3_reset(cursor->block_statement);
    return result;
}

static int read_page(struct night_blocks *cursor, struct error *error)
{
    struct sql_args args = sql_args(cursor->page_statement);
    sql_put_int(&args, cursor->after.t0_ns);
    sql_put_int(&args, cursor->after.id);
    sql_put_int(&args, cursor->to_ns);
    sql_put_int(&args, cursor->from_ns);
    sql_put_int(&args, cursor->node);
    sql_put_text(&args, cursor->channel);
    sql_put_int(&args, cursor->last_id);
    cursor->page_count = 0;
    cursor->page_next = 0;
    int result = 0;
    while ((result = sql_step(cursor->page_statement, error)) == 1) {
        struct sql_columns columns = sql_columns(cursor->page_statement);
        cursor->after.t0_ns = sql_get_int(&columns);
        cursor->after.id = sql_get_int(&columns);
        cursor->page[cursor->page_count++] = cursor->after;
    }
    cursor->all_rows = cursor->page_count < PAGE_BLOCKS;
    return result;
}

/* Takes in every block that may begin before, or at the same time as, the first of the heap. */
static int fill(struct night_blocks *cursor, struct error *error)
{
    for (;;) {
        if (cursor->page_next == cursor->page_count) {
            if (cursor->all_rows) {
                return 0;
            }
            if (read_page(cursor, error) != 0) {
                return -1;
            }
            continue;
        }
        const struct block_row *row = &cursor->page[cursor->page_next];
        if (cursor->heap.count > 0 && row->t0_ns > cursor->heap.list[0]->row.block.t0_ns) {
            return 0;
        }
        if (take_row(cursor, row->id, error) != 0) {
            return -1;
        }
        cursor->page_next++;
    }
}

/* A waiting message: of which boot, its number, and its blocks. */
static int take_waiting(void *context, const struct reader_waiting *waiting, struct error *error)
{
    struct night_blocks *cursor = context;
    struct tail_reader reader = waiting->blocks;
    for (;;) {
        struct pending *pending = block_heap_acquire(&cursor->heap, error);
        if (!pending) {
            return -1;
        }
        int more = long_block_from_tail(cursor->reader->codec, &reader, waiting->seq,
                                        &pending->whole, error);
        bool named = more == 1 && reader_find_channel(waiting, &pending->whole, &pending->row);
        if (more != 1 || !named || !in_window(cursor, &pending->whole) ||
            (cursor->channel[0] != '\0' &&
             strcmp(cursor->channel, pending->row.channel.name) != 0)) {
            block_heap_release(&cursor->heap, pending);
            if (more != 1) {
                return more;
            }
            continue;
        }
        pending->whole.id = TAIL_ID + cursor->tail_ids++;
        if (keep(cursor, pending, 1, error) != 0) {
            return -1;
        }
    }
}

/* What there is now, in one transaction: a message that moves from the tail into a block between
 * two statements would be in neither, or in both. */
static int look(struct night_blocks *cursor, struct error *error)
{
    sqlite3 *db = cursor->reader->db;
    int64_t longest_ns = 0;
    if (sql_exec(db, "SAVEPOINT look", error) != 0) {
        return -1;
    }
    int result =
        sql_query_int(db, "SELECT coalesce(max(id), 0) FROM block", &cursor->last_id, error);
    if (result == 0) {
        result = reader_longest_ns(cursor->reader, &longest_ns, error);
    }
    cursor->after.t0_ns = reader_reach(cursor->from_ns, longest_ns);
    cursor->after.id = INT64_MIN;
    if (result == 0) {
        result = reader_each_waiting(cursor->reader, cursor->node, take_waiting, cursor, error);
    }
    (void)sqlite3_exec(db, "RELEASE look", NULL, NULL, NULL);
    return result;
}

static int prepare(struct night_blocks *cursor, struct error *error)
{
    static const char page_sql[] =
        "SELECT t0_ns, block.id FROM block CROSS JOIN channel ON channel.id = block.channel"
        " CROSS JOIN boot ON boot.id = channel.boot WHERE (t0_ns, block.id) > (?1, ?2)"
        " AND t0_ns < ?3 AND t0_ns + span_ns >= ?4 AND (?5 < 0 OR node = ?5)"
        " AND (?6 = '' OR name = ?6) AND block.id <= ?7 ORDER BY t0_ns, block.id LIMIT 256";
    static const char block_sql[] =
        "SELECT " WHOSE ", " LONG_BLOCK_COLUMNS " FROM block CROSS JOIN channel"
        " ON channel.id = block.channel CROSS JOIN boot ON boot.id = channel.boot"
        " WHERE block.id = ?1";
    _Static_assert(PAGE_BLOCKS == 256, "number in the statement");
    if (reader_prepare(cursor->reader, page_sql, &cursor->page_statement, error) != 0) {
        return -1;
    }
    return reader_prepare(cursor->reader, block_sql, &cursor->block_statement, error);
}

int reader_blocks_open(struct night_reader *reader, size_t node, const char *channel,
                       int64_t from_ns, int64_t to_ns, struct night_blocks **cursor,
                       struct error *error)
{
    struct night_blocks *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", reader->path);
    }
    made->reader = reader;
    made->from_ns = from_ns;
    made->to_ns = to_ns;
    made->node = node == SIZE_MAX ? -1 : (int64_t)node;
    if (channel) {
        (void)snprintf(made->channel, sizeof made->channel, "%s", channel);
    }
    if (prepare(made, error) != 0) {
        night_blocks_close(made);
        return -1;
    }
    if (look(made, error) != 0) {
        night_blocks_close(made);
        return reader_fail(reader, error);
    }
    *cursor = made;
    return 0;
}

int night_blocks_open(struct night_reader *reader, size_t node, int64_t from_ns, int64_t to_ns,
                      struct night_blocks **cursor, struct error *error)
{
    int64_t start_ns = 0;
    if (from_ns == INT64_MIN) {
        if (sql_query_int(reader->db, "SELECT value FROM meta WHERE key='start_ns'", &start_ns,
                          error) != 0) {
            return reader_fail(reader, error);
        }
        from_ns = reader_reach(start_ns, NIGHT_BEFORE_START_NS);
    }
    return reader_blocks_open(reader, node, NULL, from_ns, to_ns, cursor, error);
}

/* What was handed out last goes back with its next cut. */
static int put_back(struct night_blocks *cursor, struct error *error)
{
    struct pending *pending = cursor->current;
    if (!pending) {
        return 0;
    }
    cursor->current = NULL;
    if (!begin(cursor, pending, false)) {
        block_heap_release(&cursor->heap, pending);
        return 0;
    }
    if (block_heap_push(&cursor->heap, pending, error) != 0) {
        block_heap_release(&cursor->heap, pending);
        return -1;
    }
    return 0;
}

int night_blocks_next(struct night_blocks *cursor, struct night_block_row *row, struct error *error)
{
    if (put_back(cursor, error) != 0 || fill(cursor, error) != 0) {
        return reader_fail(cursor->reader, error);
    }
    if (cursor->heap.count == 0) {
        return 0;
    }
    cursor->current = block_heap_pop(&cursor->heap);
    *row = cursor->current->row;
    return 1;
}

void night_blocks_close(struct night_blocks *cursor)
{
    if (!cursor) {
        return;
    }
    sqlite3_finalize(cursor->page_statement);
    sqlite3_finalize(cursor->block_statement);
    if (cursor->current) {
        block_heap_release(&cursor->heap, cursor->current);
    }
    block_heap_free(&cursor->heap);
    free(cursor);
}
