/* Every block decoded and compared with its row, with its zoom, and with its messages' frames.
 * Must never hold more than one block. Called by reader_verify.c. */
#include "collector/night/reader_verify.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/reader_long.h"
#include "collector/night/reader_waiting.h"
#include "collector/night/schema.h"
#include "collector/night/zoom.h"

/* So many faults are told one by one. */
#define TOLD_MOST 20

struct blocks {
    struct verifying *verifying;
    sqlite3_stmt *block;
    sqlite3_stmt *frame;
    sqlite3_stmt *zoom;
    struct long_block whole;
    uint64_t off;
    uint64_t *samples; /* in blocks and waiting, by boot id */
    size_t boots;
};

static void tell(struct blocks *blocks, const char *table, int64_t id, const char *text)
{
    if (blocks->off++ < TOLD_MOST) {
        verify_tell_id(blocks->verifying, table, id, text);
    }
}

static int count_samples(struct blocks *blocks, int64_t boot, uint32_t count, struct error *error)
{
    if (boot < 0 || boot > INT32_MAX) {
        return 0; /* no such boot: the channel's check tells of it */
    }
    size_t place = (size_t)boot;
    if (place >= blocks->boots) {
        size_t boots = place + 64;
        uint64_t *samples = realloc(blocks->samples, boots * sizeof *samples);
        if (!samples) {
            return error_set(error, ERROR_MEMORY, "blocks: out of memory");
        }
        memset(samples + blocks->boots, 0, (boots - blocks->boots) * sizeof *samples);
        blocks->samples = samples;
        blocks->boots = boots;
    }
    blocks->samples[place] += count;
    return 0;
}

static bool same_number(sqlite3_stmt *statement, int column, enum block_encoding encoding,
                        int64_t whole, double real)
{
    if (encoding == BLOCK_INT32) {
        return sqlite3_column_type(statement, column) == SQLITE_INTEGER &&
               sqlite3_column_int64(statement, column) == whole;
    }
    double stored = sqlite3_column_double(statement, column);
    /* NOLINTNEXTLINE(*suspicious-memory-comparison,cert-exp42-c,cert-flp37-c): to the bit. */
    return memcmp(&stored, &real, sizeof real) == 0;
}

/* Whether min, max and sum in the columns from `row` on are those of the samples. */
static bool same_range(const struct sql_columns *row, const struct block *block,
                       const struct zoom_summary *summary)
{
    sqlite3_stmt *statement = row->statement;
    const struct zoom_bucket *values = &summary->values;
    return same_number(statement, row->next, block->encoding, summary->min_count, values->min) &&
           same_number(statement, row->next + 1, block->encoding, summary->max_count,
                       values->max) &&
           same_number(statement, row->next + 2, block->encoding, summary->sum_counts, values->sum);
}

/* Its first and last sample's times; both are within the frame of its message. */
static int check_cut(struct blocks *blocks, const struct cut *cut, int64_t start_ns, int64_t end_ns,
                     struct error *error)
{
    struct sql_args args = sql_args(blocks->frame);
    sql_put_int(&args, blocks->whole.channel / SCHEMA_FANOUT);
    sql_put_int(&args, (int64_t)cut->seq);
    int more = sql_step(blocks->frame, error);
    if (more < 0) {
        return -1;
    }
    bool fits = false;
    if (more == 1) {
        struct sql_columns row = sql_columns(blocks->frame);
        fits = start_ns >= sql_get_int(&row) && end_ns <= sql_get_int(&row);
        sqlite3_reset(blocks->frame);
    }
    if (!fits) {
        char text[96];
        (void)snprintf(text, sizeof text,
                       "its samples are not those of message %" PRIu64 "'s frame", cut->seq);
        tell(blocks, "block", blocks->whole.id, text);
    }
    return fits ? 0 : 1;
}

static int check_cuts(struct blocks *blocks, struct error *error)
{
    const struct long_block *whole = &blocks->whole;
    uint32_t handed = 0;
    for (size_t i = 0; i < whole->cut_count; i++) {
        const struct cut *cut = &whole->cuts[i];
        const int64_t *times_ns = whole->block.times_ns ? whole->block.times_ns + handed : NULL;
        int result = check_cut(blocks, cut, cut_time_ns(cut, times_ns, 0),
                               cut_time_ns(cut, times_ns, cut->count - 1), error);
        if (result != 0) {
            return result < 0 ? -1 : 0;
        }
        handed += cut->count;
    }
    return 0;
}

static int64_t last_ns(const struct long_block *whole)
{
    const struct cut *last = &whole->cuts[whole->cut_count - 1];
    const struct block *block = &whole->block;
    return cut_time_ns(last, block->times_ns ? block->times_ns + block->count - last->count : NULL,
                       last->count - 1);
}

/* Whether the zoom's row says what the samples say: times, number, slack, runs. */
static bool zoom_holds(struct blocks *blocks, sqlite3_stmt *statement)
{
    struct sql_columns row = sql_columns(statement);
    const struct long_block *whole = &blocks->whole;
    const struct block *block = &whole->block;
    const bool runs = block->encoding == BLOCK_INT32 && !block->times_ns;
    const int64_t slack_ns =
        runs ? cuts_slack_ns(whole->cuts, whole->cut_count, block->count, whole->span_ns) : 0;
    if (sql_get_int(&row) != block->t0_ns || sql_get_int(&row) != block->t0_ns + whole->span_ns ||
        sql_get_int(&row) != block->count || sql_get_int(&row) != slack_ns) {
        return false;
    }
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(&row, &length);
    struct zoom_runs stored;
    struct zoom_runs made;
    struct error undecodable;
    if (!runs || !bytes) {
        return !runs && !bytes;
    }
    if (zoom_runs_decode(blocks->verifying->reader->codec, bytes, length, block->count, &stored,
                         &undecodable) != 0) {
        return false;
    }
    zoom_runs_make(block->counts, block->count, &made);
    return memcmp(made.min, stored.min, made.count * sizeof *made.min) == 0 &&
           memcmp(made.max, stored.max, made.count * sizeof *made.max) == 0;
}

static int check_zoom(struct blocks *blocks, struct error *error)
{
    struct sql_args args = sql_args(blocks->zoom);
    sql_put_int(&args, blocks->whole.channel);
    sql_put_int(&args, blocks->whole.id);
    int more = sql_step(blocks->zoom, error);
    if (more < 0) {
        return -1;
    }
    if (more == 0 || !zoom_holds(blocks, blocks->zoom)) {
        tell(blocks, "zoom", blocks->whole.id, "is not that of the block's samples");
    }
    sqlite3_reset(blocks->zoom);
    return 0;
}

/* -1: no memory, or the file can't be read; what is off is told. */
static int check_block(struct blocks *blocks, struct error *error)
{
    struct sql_columns row = sql_columns(blocks->block);
    struct long_block *whole = &blocks->whole;
    struct error off;
    if (long_block_head(&row, whole, &off) != 0) {
        tell(blocks, "block", whole->id, "says what no block can be");
        return 0;
    }
    if (long_block_body(blocks->verifying->reader->codec, &row, whole, &off) != 0) {
        if (off.code == ERROR_MEMORY) {
            *error = off;
            return -1;
        }
        tell(blocks, "block", whole->id, "its samples do not decode");
        return 0;
    }
    if (sqlite3_column_type(blocks->block, row.next) == SQLITE_NULL) {
        tell(blocks, "block", whole->id, "is of a channel that is not there");
        return 0;
    }
    struct channel channel;
    struct zoom_summary summary;
    reader_get_channel(&row, &channel);
    zoom_summarise(&whole->block, &channel, &summary);
    if (!same_range(&row, &whole->block, &summary)) {
        tell(blocks, "block", whole->id, "its min, max or sum is not that of its samples");
    } else if (last_ns(whole) - whole->block.t0_ns != whole->span_ns) {
        tell(blocks, "block", whole->id, "its span is not that of its samples");
    } else if (check_cuts(blocks, error) != 0 || check_zoom(blocks, error) != 0) {
        return -1;
    }
    blocks->verifying->result->blocks++;
    blocks->verifying->result->samples += whole->block.count;
    return count_samples(blocks, whole->channel / SCHEMA_FANOUT, whole->block.count, error);
}

static int take_waiting(void *context, const struct reader_waiting *waiting, struct error *error)
{
    struct blocks *blocks = context;
    struct tail_reader reader = waiting->blocks;
    struct error off;
    int more = 0;
    while ((more = long_block_from_tail(blocks->verifying->reader->codec, &reader, waiting->seq,
                                        &blocks->whole, &off)) == 1) {
        blocks->verifying->result->samples += blocks->whole.block.count;
        if (count_samples(blocks, waiting->boot_id, blocks->whole.block.count, error) != 0) {
            return -1;
        }
    }
    if (more < 0 && off.code == ERROR_MEMORY) {
        *error = off;
        return -1;
    }
    if (more < 0) {
        tell(blocks, "tail", (int64_t)waiting->seq, "a waiting message does not decode");
    }
    return 0;
}

/* Every boot's frames have as many samples as its blocks. */
static int check_boots(struct blocks *blocks, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(blocks->verifying->reader->db,
                    "SELECT boot, count(*), sum(samples) FROM frame GROUP BY boot ORDER BY boot",
                    &statement, error) != 0) {
        return -1;
    }
    int more = 0;
    while ((more = sql_step(statement, error)) == 1) {
        struct sql_columns row = sql_columns(statement);
        int64_t boot = sql_get_int(&row);
        blocks->verifying->result->frames += (uint64_t)sql_get_int(&row);
        uint64_t told = (uint64_t)sql_get_int(&row);
        uint64_t there = boot >= 0 && (uint64_t)boot < blocks->boots ? blocks->samples[boot] : 0;
        if (told != there) {
            char text[128];
            (void)snprintf(text, sizeof text,
                           "its messages have %" PRIu64 " samples, its blocks %" PRIu64, told,
                           there);
            tell(blocks, "boot", boot, text);
        }
    }
    sqlite3_finalize(statement);
    return more;
}

static int check_all(struct blocks *blocks, struct error *error)
{
    static const char block_sql[] =
        "SELECT " LONG_BLOCK_COLUMNS ", " READER_CHANNEL_COLUMNS ", min, max, sum FROM block"
        " LEFT JOIN channel ON channel.id = block.channel ORDER BY block.id";
    static const char frame_sql[] = "SELECT start_ns, end_ns FROM frame WHERE boot=? AND seq=?";
    static const char zoom_sql[] =
        "SELECT t0_ns, t1_ns, n, slack_ns, runs FROM zoom WHERE channel=? AND block=?";
    sqlite3 *db = blocks->verifying->reader->db;
    if (sql_prepare(db, block_sql, &blocks->block, error) != 0 ||
        sql_prepare(db, frame_sql, &blocks->frame, error) != 0 ||
        sql_prepare(db, zoom_sql, &blocks->zoom, error) != 0) {
        return -1;
    }
    int more = 0;
    while ((more = sql_step(blocks->block, error)) == 1) {
        if (check_block(blocks, error) != 0) {
            return -1;
        }
    }
    if (more != 0 ||
        reader_each_waiting(blocks->verifying->reader, -1, take_waiting, blocks, error) != 0) {
        return -1;
    }
    return check_boots(blocks, error);
}

void verify_blocks(struct verifying *verifying)
{
    struct blocks blocks = {.verifying = verifying};
    struct error error;
    char text[sizeof error.text + 64];
    if (check_all(&blocks, &error) != 0) {
        (void)snprintf(text, sizeof text, "can't be read to its end: %s", error.text);
        verify_tell(verifying, "block", "", text);
    }
    if (blocks.off > TOLD_MOST) {
        (void)snprintf(text, sizeof text, "%" PRIu64 " more blocks or frames are off",
                       blocks.off - TOLD_MOST);
        verify_tell(verifying, "block", "", text);
    }
    sqlite3_finalize(blocks.frame);
    sqlite3_finalize(blocks.block);
    sqlite3_finalize(blocks.zoom);
    long_block_free(&blocks.whole);
    free(blocks.samples);
}
