/* The blocks of a night in the order of their first samples.
 * Must never hold a statement between two steps: a long export would keep the writer's log from
 * being folded. Called by export and re-analysis, and by reader_zoom.c. */
#include "collector/night/reader_heap.h"
#include "collector/night/reader_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/schema.h"

#define PAGE_FRAMES 256u

struct frame_row {
    int64_t start_ns;
    int64_t id;
    uint64_t seq;
    uint32_t node;
    char boot[17];
};

struct night_blocks {
    struct night_reader *reader;
    sqlite3_stmt *frame_statement;
    sqlite3_stmt *block_statement;
    int64_t from_ns;
    int64_t to_ns;
    int64_t node; /* -1: all */
    char channel[CHANNEL_NAME_SIZE];
    struct frame_row page[PAGE_FRAMES];
    size_t page_count;
    size_t page_next;
    int64_t after_start_ns; /* the last frame of the page before */
    int64_t after_id;
    bool all_frames;
    struct block_heap heap;
    struct pending *current; /* handed out */
};

static int grow(void **memory, size_t *size, uint32_t count, size_t each, struct error *error)
{
    if (count <= *size) {
        return 0;
    }
    void *more = realloc(*memory, count * each);
    if (!more) {
        return error_set(error, ERROR_MEMORY, "blocks: out of memory");
    }
    *memory = more;
    *size = count;
    return 0;
}

static int decode_samples(struct night_blocks *cursor, struct pending *pending,
                          enum codec_kind kind, struct sql_columns *columns, struct error *error)
{
    struct block *block = &pending->row.block;
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(columns, &length);
    if (block->encoding == BLOCK_INT32) {
        void *memory = pending->counts;
        int grown =
            grow(&memory, &pending->counts_size, block->count, sizeof *block->counts, error);
        pending->counts = memory;
        block->counts = pending->counts;
        return grown != 0 ? -1
                          : codec_decode_counts(cursor->reader->codec, kind, bytes, length,
                                                block->count, pending->counts, error);
    }
    void *memory = pending->decimals;
    int grown =
        grow(&memory, &pending->decimals_size, block->count, sizeof *block->decimals, error);
    pending->decimals = memory;
    block->decimals = pending->decimals;
    return grown != 0 ? -1
                      : codec_decode_decimals(cursor->reader->codec, kind, bytes, length,
                                              block->count, pending->decimals, error);
}

static int decode_times(struct night_blocks *cursor, struct pending *pending,
                        struct sql_columns *columns, struct error *error)
{
    struct block *block = &pending->row.block;
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(columns, &length);
    if (block->period_ps > 0) {
        return 0;
    }
    void *memory = pending->times_ns;
    int grown = grow(&memory, &pending->times_size, block->count, sizeof *block->times_ns, error);
    pending->times_ns = memory;
    block->times_ns = pending->times_ns;
    return grown != 0 ? -1
                      : codec_decode_times(cursor->reader->codec, bytes, length, block->t0_ns,
                                           block->count, pending->times_ns, error);
}

/* 1: taken, 0: outside the window, -1: damaged. Columns as in block_sql. */
static int decode_row(struct night_blocks *cursor, const struct frame_row *frame,
                      struct pending *pending, struct error *error)
{
    struct sql_columns columns = sql_columns(cursor->block_statement);
    struct night_block_row *row = &pending->row;
    *row = (struct night_block_row){.node = frame->node, .seq = frame->seq};
    row->boot = strtoull(frame->boot, NULL, 16);
    struct block *block = &row->block;
    pending->id = sql_get_int(&columns);
    block->channel = (uint16_t)(sql_get_int(&columns) % SCHEMA_FANOUT);
    block->t0_ns = sql_get_int(&columns);
    int64_t span_ns = sql_get_int(&columns);
    block->period_ps = sql_get_int(&columns);
    row->node_t0_ns = sql_get_int(&columns);
    int64_t count = sql_get_int(&columns);
    int64_t kind = sql_get_int(&columns);
    int64_t last_ns = 0;
    if (codec_encoding(kind, &block->encoding) != 0 || count < 1 || count > BLOCK_SAMPLES_MAX ||
        block->period_ps < 0 || span_ns < 0 ||
        __builtin_add_overflow(block->t0_ns, span_ns, &last_ns)) {
        return error_set(error, ERROR_FORMAT, "damaged block");
    }
    block->count = (uint32_t)count;
    if (last_ns < cursor->from_ns || block->t0_ns >= cursor->to_ns) {
        return 0;
    }
    if (decode_times(cursor, pending, &columns, error) != 0 ||
        decode_samples(cursor, pending, (enum codec_kind)kind, &columns, error) != 0) {
        return -1;
    }
    reader_get_channel(&columns, &row->channel);
    return 1;
}

static int take_block(struct night_blocks *cursor, const struct frame_row *frame,
                      struct error *error)
{
    struct pending *pending = block_heap_acquire(&cursor->heap, error);
    if (!pending) {
        return -1;
    }
    int taken = decode_row(cursor, frame, pending, error);
    if (taken < 0) {
        (void)error_wrap(error, "block %lld", (long long)pending->id);
    }
    if (taken <= 0 || block_heap_push(&cursor->heap, pending, error) != 0) {
        block_heap_release(&cursor->heap, pending);
        return taken == 0 ? 0 : -1;
    }
    return 0;
}

static int take_frame(struct night_blocks *cursor, const struct frame_row *frame,
                      struct error *error)
{
    struct sql_args args = sql_args(cursor->block_statement);
    sql_put_int(&args, frame->id * SCHEMA_FANOUT);
    sql_put_text(&args, cursor->channel);
    int result = 0;
    while ((result = sql_step(cursor->block_statement, error)) == 1) {
        if (take_block(cursor, frame, error) != 0) {
            sqlite3_reset(cursor->block_statement);
            return -1;
        }
    }
    return result;
}

static int take_page_row(struct night_blocks *cursor, struct error *error)
{
    struct sql_columns columns = sql_columns(cursor->frame_statement);
    struct frame_row *frame = &cursor->page[cursor->page_count++];
    frame->start_ns = sql_get_int(&columns);
    frame->id = sql_get_int(&columns);
    frame->seq = (uint64_t)sql_get_int(&columns);
    frame->node = (uint32_t)sql_get_int(&columns);
    sql_get_text(&columns, frame->boot, sizeof frame->boot);
    cursor->after_start_ns = frame->start_ns;
    cursor->after_id = frame->id;
    if (frame->id < 0 || frame->id >= INT64_MAX / SCHEMA_FANOUT) {
        return error_set(error, ERROR_FORMAT, "damaged frame %lld", (long long)frame->id);
    }
    return 0;
}

static int read_page(struct night_blocks *cursor, struct error *error)
{
    struct sql_args args = sql_args(cursor->frame_statement);
    sql_put_int(&args, cursor->after_start_ns);
    sql_put_int(&args, cursor->after_id);
    sql_put_int(&args, cursor->to_ns);
    sql_put_int(&args, cursor->from_ns);
    sql_put_int(&args, cursor->node);
    cursor->page_count = 0;
    cursor->page_next = 0;
    int result = 0;
    while ((result = sql_step(cursor->frame_statement, error)) == 1) {
        if (take_page_row(cursor, error) != 0) {
            sqlite3_reset(cursor->frame_statement);
            return -1;
        }
    }
    cursor->all_frames = cursor->page_count < PAGE_FRAMES;
    return result;
}

/* Takes in every frame that may hold a block before, or at the same time as, the first of the heap.
 */
static int fill(struct night_blocks *cursor, struct error *error)
{
    for (;;) {
        if (cursor->page_next == cursor->page_count) {
            if (cursor->all_frames) {
                return 0;
            }
            if (read_page(cursor, error) != 0) {
                return -1;
            }
            continue;
        }
        const struct frame_row *frame = &cursor->page[cursor->page_next];
        if (cursor->heap.count > 0 && frame->start_ns > cursor->heap.list[0]->row.block.t0_ns) {
            return 0;
        }
        if (take_frame(cursor, frame, error) != 0) {
            return -1;
        }
        cursor->page_next++;
    }
}

static int prepare(struct night_blocks *cursor, struct error *error)
{
    static const char frame_sql[] =
        "SELECT start_ns, frame.id, seq, node, boot.boot FROM frame JOIN boot"
        " ON boot.id = frame.boot WHERE (start_ns, frame.id) > (?1, ?2) AND start_ns < ?3"
        " AND end_ns >= ?4 AND (?5 < 0 OR node = ?5) ORDER BY start_ns, frame.id LIMIT 256";
    static const char block_sql[] =
        "SELECT block.id, channel.id, t0_ns, span_ns, block.period_ps, node_t0_ns, n, codec, times,"
        " samples, " READER_CHANNEL_COLUMNS " FROM block CROSS JOIN channel"
        " ON channel.id = block.channel WHERE block.id BETWEEN ?1 AND ?1 + 31"
        " AND (?2 = '' OR name = ?2)";
    _Static_assert(PAGE_FRAMES == 256 && SCHEMA_FANOUT == 32, "numbers in the statements");
    if (reader_prepare(cursor->reader, frame_sql, &cursor->frame_statement, error) != 0) {
        return -1;
    }
    return reader_prepare(cursor->reader, block_sql, &cursor->block_statement, error);
}

int reader_blocks_open(struct night_reader *reader, size_t node, const char *channel,
                       int64_t from_ns, int64_t to_ns, struct night_blocks **cursor,
                       struct error *error)
{
    int64_t longest_ns = 0;
    if (reader_longest_ns(reader, &longest_ns, error) != 0) {
        return -1;
    }
    struct night_blocks *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", reader->path);
    }
    made->reader = reader;
    made->from_ns = from_ns;
    made->to_ns = to_ns;
    made->node = node == SIZE_MAX ? -1 : (int64_t)node;
    made->after_start_ns = reader_reach(from_ns, longest_ns);
    made->after_id = INT64_MIN;
    if (channel) {
        (void)snprintf(made->channel, sizeof made->channel, "%s", channel);
    }
    if (prepare(made, error) != 0) {
        night_blocks_close(made);
        return -1;
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

int night_blocks_next(struct night_blocks *cursor, struct night_block_row *row, struct error *error)
{
    if (cursor->current) {
        block_heap_release(&cursor->heap, cursor->current);
        cursor->current = NULL;
    }
    if (fill(cursor, error) != 0) {
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
    sqlite3_finalize(cursor->frame_statement);
    sqlite3_finalize(cursor->block_statement);
    if (cursor->current) {
        block_heap_release(&cursor->heap, cursor->current);
    }
    block_heap_free(&cursor->heap);
    free(cursor);
}
