/* Every block decoded and compared with its row, every frame with its blocks.
 * Must never hold more than one block. Called by reader_verify.c. */
#include "collector/night/reader_verify.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/schema.h"
#include "collector/night/zoom.h"

/* So many faults are told one by one. */
#define TOLD_MOST 20

struct blocks {
    struct verifying *verifying;
    sqlite3_stmt *frame;
    sqlite3_stmt *block;
    int32_t *counts; /* these three for `size` samples */
    struct decimal *decimals;
    int64_t *times_ns;
    size_t size;
    uint64_t off;
    struct zoom_bucket all; /* of the frame that is being read: from, to and samples */
};

static void tell(struct blocks *blocks, const char *table, int64_t id, const char *text)
{
    if (blocks->off++ < TOLD_MOST) {
        verify_tell_id(blocks->verifying, table, id, text);
    }
}

/* The row's columns up to `codec`, as in block_sql. */
struct block_row {
    int64_t id;
    int64_t span_ns;
    int64_t kind;
    struct block block;
};

static int get_row(struct sql_columns *row, struct block_row *out)
{
    struct block *block = &out->block;
    *out = (struct block_row){.id = sql_get_int(row)};
    block->t0_ns = sql_get_int(row);
    out->span_ns = sql_get_int(row);
    block->period_ps = sql_get_int(row);
    int64_t count = sql_get_int(row);
    out->kind = sql_get_int(row);
    int64_t last_ns = 0;
    if (codec_encoding(out->kind, &block->encoding) != 0 || count < 1 ||
        count > BLOCK_SAMPLES_MAX || block->period_ps < 0 || out->span_ns < 0 ||
        __builtin_add_overflow(block->t0_ns, out->span_ns, &last_ns)) {
        return -1;
    }
    block->count = (uint32_t)count;
    return 0;
}

static void free_buffers(struct blocks *blocks)
{
    free(blocks->counts);
    free(blocks->decimals);
    free(blocks->times_ns);
}

static int grow(struct blocks *blocks, size_t count, struct error *error)
{
    if (count <= blocks->size) {
        return 0;
    }
    free_buffers(blocks);
    blocks->counts = malloc(count * sizeof *blocks->counts);
    blocks->decimals = malloc(count * sizeof *blocks->decimals);
    blocks->times_ns = malloc(count * sizeof *blocks->times_ns);
    bool all = blocks->counts && blocks->decimals && blocks->times_ns;
    blocks->size = all ? count : 0;
    return all ? 0 : error_set(error, ERROR_MEMORY, "blocks: out of memory");
}

static int decode(struct blocks *blocks, struct sql_columns *row, struct block_row *out,
                  struct error *error)
{
    struct codec *codec = blocks->verifying->reader->codec;
    struct block *block = &out->block;
    size_t times_length = 0;
    size_t length = 0;
    const uint8_t *times = sql_get_blob(row, &times_length);
    const uint8_t *samples = sql_get_blob(row, &length);
    if (block->period_ps == 0) {
        block->times_ns = blocks->times_ns;
        if (codec_decode_times(codec, times, times_length, block->t0_ns, block->count,
                               blocks->times_ns, error) != 0) {
            return -1;
        }
    }
    if (block->encoding == BLOCK_INT32) {
        block->counts = blocks->counts;
        return codec_decode_counts(codec, (enum codec_kind)out->kind, samples, length, block->count,
                                   blocks->counts, error);
    }
    block->decimals = blocks->decimals;
    return codec_decode_decimals(codec, (enum codec_kind)out->kind, samples, length, block->count,
                                 blocks->decimals, error);
}

static bool same_number(sqlite3_stmt *statement, int column, enum block_encoding encoding,
                        int64_t whole, double real)
{
    if (encoding == BLOCK_INT32) {
        return sqlite3_column_type(statement, column) == SQLITE_INTEGER &&
               sqlite3_column_int64(statement, column) == whole;
    }
    double stored = sqlite3_column_double(statement, column);
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

/* -1: no memory; what is off is told. */
static int check_block(struct blocks *blocks, struct error *error)
{
    struct sql_columns row = sql_columns(blocks->block);
    struct block_row got;
    struct error undecodable;
    if (get_row(&row, &got) != 0) {
        tell(blocks, "block", got.id, "says what no block can be");
        return 0;
    }
    if (grow(blocks, got.block.count, error) != 0) {
        return -1;
    }
    if (decode(blocks, &row, &got, &undecodable) != 0) {
        tell(blocks, "block", got.id, "its samples do not decode");
        return 0;
    }
    if (sqlite3_column_type(blocks->block, row.next) == SQLITE_NULL) {
        tell(blocks, "block", got.id, "is of a channel that is not there");
        return 0;
    }
    struct channel channel;
    struct zoom_summary summary;
    reader_get_channel(&row, &channel);
    zoom_summarise(&got.block, &channel, &summary);
    if (!same_range(&row, &got.block, &summary)) {
        tell(blocks, "block", got.id, "its min, max or sum is not that of its samples");
    } else if (summary.values.t1_ns - got.block.t0_ns != got.span_ns) {
        tell(blocks, "block", got.id, "its span is not that of its samples");
    }
    zoom_join(&blocks->all, &summary.values);
    blocks->verifying->result->blocks++;
    blocks->verifying->result->samples += got.block.count;
    return 0;
}

/* The frame's row says when its samples begin and end and how many they are. */
static int check_frame(struct blocks *blocks, struct error *error)
{
    struct sql_columns row = sql_columns(blocks->frame);
    int64_t id = sql_get_int(&row);
    int64_t start_ns = sql_get_int(&row);
    int64_t end_ns = sql_get_int(&row);
    int64_t samples = sql_get_int(&row);
    blocks->all = (struct zoom_bucket){0};
    if (id < 0 || id >= INT64_MAX / SCHEMA_FANOUT) {
        tell(blocks, "frame", id, "has a number that no frame can have");
        return 0;
    }
    (void)sqlite3_bind_int64(blocks->block, 1, id * SCHEMA_FANOUT);
    int more = 0;
    uint64_t before = blocks->off;
    while ((more = sql_step(blocks->block, error)) == 1) {
        if (check_block(blocks, error) != 0) {
            sqlite3_reset(blocks->block);
            return -1;
        }
    }
    if (more == 0 && before == blocks->off &&
        ((uint64_t)samples != blocks->all.count || start_ns != blocks->all.t0_ns ||
         end_ns != blocks->all.t1_ns)) {
        tell(blocks, "frame", id, "its times or number of samples are not those of its blocks");
    }
    blocks->verifying->result->frames++;
    return more;
}

static int check_all(struct blocks *blocks, struct error *error)
{
    static const char frame_sql[] =
        "SELECT id, coalesce(start_ns, 0), coalesce(end_ns, 0), samples FROM frame ORDER BY id";
    static const char block_sql[] =
        "SELECT block.id, t0_ns, span_ns, block.period_ps, n, codec, times, samples,"
        " " READER_CHANNEL_COLUMNS ", min, max, sum FROM block LEFT JOIN channel"
        " ON channel.id = block.channel WHERE block.id BETWEEN ?1 AND ?1 + 31";
    _Static_assert(SCHEMA_FANOUT == 32, "number in the statement");
    sqlite3 *db = blocks->verifying->reader->db;
    if (sql_prepare(db, frame_sql, &blocks->frame, error) != 0 ||
        sql_prepare(db, block_sql, &blocks->block, error) != 0) {
        return -1;
    }
    int more = 0;
    while ((more = sql_step(blocks->frame, error)) == 1) {
        if (check_frame(blocks, error) != 0) {
            return -1;
        }
    }
    return more;
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
    free_buffers(&blocks);
}
