/* Any window of a channel as pixels: from its samples where they are few, from the runs' extremes
 * where they are many. Must never drop or average a peak. Called by the page and by export. */
#include <string.h>

#include "collector/night/reader_internal.h"
#include "collector/night/reader_waiting.h"
#include "collector/night/window_fold.h"

/* So many samples are read in a few milliseconds. */
#define SAMPLES_MOST 300000
/* Times beyond that are damage (the year 2116). */
#define TIME_MOST_NS (INT64_C(1) << 62)

struct reading {
    struct night_reader *reader;
    const char *name;
    struct window window;
    sqlite3_stmt *block_statement; /* of one block; made when it is needed */
    struct long_block block;
    struct zoom_runs runs;
    struct channel channel; /* of the boot that is being read */
    bool few;               /* read the samples */
    struct error *error;
};

/* The window's part of a decoded block, cut by cut. */
static void add_block(struct reading *reading, const struct channel *channel)
{
    const struct long_block *whole = &reading->block;
    uint32_t handed = 0;
    for (size_t i = 0; i < whole->cut_count; i++) {
        const struct cut *cut = &whole->cuts[i];
        struct block block = whole->block;
        block.count = cut->count;
        block.t0_ns = cut->t0_ns;
        block.period_ps = cut->period_ps;
        block.counts = block.counts ? block.counts + handed : NULL;
        block.decimals = block.decimals ? block.decimals + handed : NULL;
        block.times_ns = block.times_ns ? block.times_ns + handed : NULL;
        window_add_block(&reading->window, &block, channel);
        handed += cut->count;
    }
}

static int decode(struct reading *reading, sqlite3_stmt *statement)
{
    struct sql_columns row = sql_columns(statement);
    if (long_block_head(&row, &reading->block, reading->error) != 0 ||
        long_block_body(reading->reader->codec, &row, &reading->block, reading->error) != 0) {
        return error_wrap(reading->error, "block %lld", (long long)reading->block.id);
    }
    add_block(reading, &reading->channel);
    return 0;
}

static int read_block(struct reading *reading, int64_t id)
{
    static const char sql[] = "SELECT " LONG_BLOCK_COLUMNS " FROM block WHERE id = ?";
    if (!reading->block_statement &&
        reader_prepare(reading->reader, sql, &reading->block_statement, reading->error) != 0) {
        return -1;
    }
    struct sql_args args = sql_args(reading->block_statement);
    sql_put_int(&args, id);
    int result = sql_step(args.statement, reading->error);
    if (result == 1) {
        result = decode(reading, args.statement);
        sqlite3_reset(args.statement);
    }
    return result == 0 ? 0 : reader_fail(reading->reader, reading->error);
}

/* A row of zoom: its block, times, number of samples, slack and runs. */
static int take_zoom(void *context, struct sql_columns *row)
{
    struct reading *reading = context;
    int64_t block = sql_get_int(row);
    struct window_runs runs = {.t0_ns = sql_get_int(row)};
    int64_t t1_ns = sql_get_int(row);
    int64_t samples = sql_get_int(row);
    runs.slack_ns = sql_get_int(row);
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(row, &length);
    if (reading->few || !bytes) {
        return read_block(reading, block);
    }
    if (runs.t0_ns < -TIME_MOST_NS || t1_ns > TIME_MOST_NS ||
        __builtin_sub_overflow(t1_ns, runs.t0_ns, &runs.span_ns) || runs.span_ns < 0 ||
        runs.slack_ns < 0 || runs.slack_ns > TIME_MOST_NS / 2 || samples < 1 ||
        samples > BLOCK_SAMPLES_MAX) {
        (void)error_set(reading->error, ERROR_FORMAT, "damaged zoom of block %lld",
                        (long long)block);
        return reader_fail(reading->reader, reading->error);
    }
    runs.samples = (uint32_t)samples;
    runs.runs = &reading->runs;
    if (zoom_runs_decode(reading->reader->codec, bytes, length, runs.samples, &reading->runs,
                         reading->error) != 0) {
        return reader_fail(reading->reader, reading->error);
    }
    window_add_runs(&reading->window, &runs, &reading->channel);
    return 0;
}

#define IN_WINDOW " FROM zoom WHERE channel = ?1 AND t0_ns < ?3 AND t1_ns >= ?2"

static int prepare(struct reading *reading, const char *sql, int64_t channel,
                   sqlite3_stmt **statement)
{
    if (reader_prepare(reading->reader, sql, statement, reading->error) != 0) {
        return -1;
    }
    struct sql_args args = sql_args(*statement);
    sql_put_int(&args, channel);
    sql_put_int(&args, reading->window.from_ns);
    sql_put_int(&args, reading->window.to_ns);
    return 0;
}

static int take_sum(void *context, struct sql_columns *row)
{
    struct reading *reading = context;
    reading->few = sql_get_int(row) <= SAMPLES_MOST;
    return 0;
}

/* A channel of one boot: its id and description. */
static int take_channel(void *context, struct sql_columns *row)
{
    struct reading *reading = context;
    int64_t id = sql_get_int(row);
    sqlite3_stmt *statement = NULL;
    reader_get_channel(row, &reading->channel);
    if (prepare(reading, "SELECT coalesce(sum(n), 0)" IN_WINDOW, id, &statement) != 0 ||
        reader_each(reading->reader, statement, take_sum, reading, reading->error) != 0 ||
        prepare(reading, "SELECT block, t0_ns, t1_ns, n, slack_ns, runs" IN_WINDOW, id,
                &statement) != 0) {
        return -1;
    }
    return reader_each(reading->reader, statement, take_zoom, reading, reading->error);
}

static int take_waiting(void *context, const struct reader_waiting *waiting, struct error *error)
{
    struct reading *reading = context;
    struct tail_reader blocks = waiting->blocks;
    int more = 0;
    while ((more = long_block_from_tail(reading->reader->codec, &blocks, waiting->seq,
                                        &reading->block, error)) == 1) {
        struct night_block_row row;
        if (reader_find_channel(waiting, &reading->block, &row) &&
            strcmp(row.channel.name, reading->name) == 0) {
            add_block(reading, &row.channel);
        }
    }
    return more == 0 ? 0 : reader_fail(reading->reader, error);
}

static int read_samples(struct reading *reading, uint32_t node)
{
    static const char sql[] = "SELECT channel.id, " READER_CHANNEL_COLUMNS " FROM boot JOIN channel"
                              " ON channel.id BETWEEN boot.id * 32 AND boot.id * 32 + 31"
                              " WHERE boot.node = ? AND name = ? ORDER BY boot.id";
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reading->reader, sql, &statement, reading->error) != 0) {
        return -1;
    }
    struct sql_args args = sql_args(statement);
    sql_put_int(&args, node);
    sql_put_text(&args, reading->name);
    if (reader_each(reading->reader, statement, take_channel, reading, reading->error) != 0) {
        return -1;
    }
    return reader_each_waiting(reading->reader, node, take_waiting, reading, reading->error);
}

struct gap_take {
    struct window *window;
    uint32_t node;
};

static int take_gap(void *context, const struct gap *gap)
{
    const struct gap_take *take = context;
    if (gap->node == take->node) {
        window_add_gap(take->window, gap->start_ns, gap->end_ns);
    }
    return 0;
}

/* In one transaction: a message that moves from the tail into a block between two statements would
 * be in neither. */
static int read_at_once(struct reading *reading, uint32_t node)
{
    sqlite3 *db = reading->reader->db;
    struct gap_take gaps = {.window = &reading->window, .node = node};
    if (sql_exec(db, "SAVEPOINT look", reading->error) != 0) {
        return reader_fail(reading->reader, reading->error);
    }
    int result = read_samples(reading, node);
    if (result == 0) {
        result = night_each_gap(reading->reader, take_gap, &gaps, reading->error);
    }
    sqlite3_finalize(reading->block_statement);
    long_block_free(&reading->block);
    (void)sqlite3_exec(db, "RELEASE look", NULL, NULL, NULL);
    return result;
}

int night_read_window(struct night_reader *reader, uint32_t node, const char *channel,
                      int64_t from_ns, int64_t to_ns, size_t pixels, struct night_pixel *out,
                      struct error *error)
{
    if (to_ns <= from_ns || pixels == 0 || pixels > NIGHT_WINDOW_PIXELS_MAX) {
        return error_set(error, ERROR_RANGE, "%s: window of %zu pixels", reader->path, pixels);
    }
    struct reading reading = {
        .reader = reader,
        .name = channel,
        .window = {.from_ns = from_ns, .to_ns = to_ns, .count = pixels, .pixels = out},
        .error = error};
    window_begin(&reading.window);
    return read_at_once(&reading, node);
}

static void take_samples(const struct night_block_row *row, int64_t from_ns, int64_t to_ns,
                         struct night_sample *out, size_t size, size_t *count)
{
    for (uint32_t i = 0; i < row->block.count && *count <= size; i++) {
        int64_t time_ns = block_time_ns(&row->block, i);
        if (time_ns >= from_ns && time_ns < to_ns) {
            if (*count < size) {
                out[*count] =
                    (struct night_sample){time_ns, block_value(&row->block, &row->channel, i)};
            }
            (*count)++;
        }
    }
}

int night_read_samples(struct night_reader *reader, uint32_t node, const char *channel,
                       int64_t from_ns, int64_t to_ns, struct night_sample *out, size_t size,
                       size_t *count, struct error *error)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    *count = 0;
    if (reader_blocks_open(reader, node, channel, from_ns, to_ns, &cursor, error) != 0) {
        return -1;
    }
    int more = 0;
    while (*count <= size && (more = night_blocks_next(cursor, &row, error)) == 1) {
        take_samples(&row, from_ns, to_ns, out, size, count);
    }
    night_blocks_close(cursor);
    return more < 0 ? -1 : 0;
}
