/* A channel over a window at a resolution fit for a plot, with every extreme in it.
 * Must never drop or average a peak. Called by export's figures and by the page. */
#include "collector/night/reader_internal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/zoom.h"

#define FINE_SAMPLES 16u

struct zoom_reading {
    struct night_reader *reader;
    uint32_t node;
    const char *channel;
    int64_t from_ns;
    int64_t to_ns;
    int64_t longest_ns;
    bool closed; /* all slots are stored */
    struct error *error;
    /* What is being made: `merge` of the resolution's buckets become one. */
    size_t merge;
    size_t merged;
    struct zoom_bucket open;
    struct zoom_bucket *buckets;
    size_t size;
    size_t count;
};

static void close_bucket(struct zoom_reading *reading)
{
    if (reading->open.count > 0) {
        reading->buckets[reading->count++] = reading->open;
    }
    reading->open.count = 0;
    reading->merged = 0;
}

/* Twice as coarse, when there is no more room. */
static void halve(struct zoom_reading *reading)
{
    size_t half = 0;
    for (size_t i = 0; i < reading->count; i += 2) {
        struct zoom_bucket joined = reading->buckets[i];
        if (i + 1 < reading->count) {
            zoom_join(&joined, &reading->buckets[i + 1]);
        }
        reading->buckets[half++] = joined;
    }
    reading->count = half;
    reading->merge *= 2;
}

static void take_bucket(struct zoom_reading *reading, const struct zoom_bucket *bucket)
{
    if (reading->count == reading->size) {
        halve(reading);
    }
    zoom_join(&reading->open, bucket);
    reading->merged++;
    if (reading->merged >= reading->merge) {
        close_bucket(reading);
    }
}

/* ?1 node, ?2 channel, ?3 from, ?4 to, ?5 from less the longest frame, ?6 level, ?7 slot's length.
 */
static void bind_window(const struct zoom_reading *reading, int level, sqlite3_stmt *statement)
{
    struct sql_args args = sql_args(statement);
    sql_put_int(&args, reading->node);
    sql_put_text(&args, reading->channel);
    sql_put_int(&args, reading->from_ns);
    sql_put_int(&args, reading->to_ns);
    sql_put_int(&args, reader_reach(reading->from_ns, reading->longest_ns));
    sql_put_int(&args, level);
    sql_put_int(&args, level > 0 ? zoom_slot_length_ns(level) : 0);
}

#define CHANNEL_IDS                                                                                \
    "(SELECT channel.id FROM boot JOIN channel"                                                    \
    " ON channel.id BETWEEN boot.id * 32 AND boot.id * 32 + 31"                                    \
    " WHERE boot.node = ?1 AND name = ?2)"
#define SLOTS_IN_WINDOW                                                                            \
    " FROM zoom WHERE channel IN " CHANNEL_IDS " AND level = ?6 AND t0_ns < ?4 AND t1_ns >= ?3"
#define BLOCKS_IN_WINDOW                                                                           \
    " FROM frame CROSS JOIN block ON block.id BETWEEN frame.id * 32 AND frame.id * 32 + 31"        \
    " AND block.channel IN " CHANNEL_IDS " CROSS JOIN channel ON channel.id = block.channel"       \
    " WHERE start_ns >= ?5 AND start_ns < ?4 AND end_ns >= ?3"                                     \
    " AND frame.boot IN (SELECT id FROM boot WHERE node = ?1)"                                     \
    " AND t0_ns < ?4 AND t0_ns + span_ns >= ?3"
/* Blocks of slots that are not stored yet: those after the greatest stored one of their channel. */
#define AFTER_STORED                                                                               \
    " AND t0_ns >= ?7 * coalesce((SELECT max(slot) + 1 FROM zoom"                                  \
    " WHERE zoom.channel = block.channel AND level = ?6), -1000000000)"

struct row_take {
    struct zoom_reading *reading;
    int level; /* 0: each block by itself */
    struct zoom_bucket slot;
};

static void get_values(struct sql_columns *row, struct zoom_bucket *bucket)
{
    bucket->min = sql_get_real(row);
    bucket->max = sql_get_real(row);
    bucket->sum = sql_get_real(row);
}

static int take_slot(void *context, struct sql_columns *row)
{
    const struct row_take *take = context;
    struct zoom_bucket bucket = {.t0_ns = sql_get_int(row)};
    bucket.t1_ns = sql_get_int(row);
    bucket.count = (uint64_t)sql_get_int(row);
    get_values(row, &bucket);
    take_bucket(take->reading, &bucket);
    return 0;
}

static int take_block(void *context, struct sql_columns *row)
{
    struct row_take *take = context;
    struct zoom_bucket bucket = {.t0_ns = sql_get_int(row)};
    if (__builtin_add_overflow(bucket.t0_ns, sql_get_int(row), &bucket.t1_ns)) {
        bucket.t1_ns = INT64_MAX;
    }
    bucket.count = (uint64_t)sql_get_int(row);
    if (sqlite3_column_type(row->statement, row->next) == SQLITE_INTEGER) {
        int64_t min = sql_get_int(row);
        int64_t max = sql_get_int(row);
        int64_t sum = sql_get_int(row);
        struct channel channel;
        reader_get_channel(row, &channel);
        zoom_from_counts(&channel, min, max, sum, &bucket);
    } else {
        get_values(row, &bucket);
    }
    if (take->level == 0) {
        take_bucket(take->reading, &bucket);
        return 0;
    }
    bucket.slot = zoom_slot(take->level, bucket.t0_ns);
    if (take->slot.count > 0 && take->slot.slot != bucket.slot) {
        take_bucket(take->reading, &take->slot);
        take->slot.count = 0;
    }
    zoom_join(&take->slot, &bucket);
    return 0;
}

static int run(struct row_take *take, const char *sql, int level,
               int (*row)(void *context, struct sql_columns *columns))
{
    struct zoom_reading *reading = take->reading;
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reading->reader, sql, &statement, reading->error) != 0) {
        return -1;
    }
    bind_window(reading, level, statement);
    return reader_each(reading->reader, statement, row, take, reading->error);
}

#define BLOCK_COLUMNS "t0_ns, span_ns, n, min, max, sum, " READER_CHANNEL_COLUMNS

static int read_blocks(struct zoom_reading *reading)
{
    struct row_take take = {.reading = reading};
    return run(&take, "SELECT " BLOCK_COLUMNS BLOCKS_IN_WINDOW " ORDER BY start_ns, block.id", 0,
               take_block);
}

static int read_level(struct zoom_reading *reading, int level)
{
    struct row_take take = {.reading = reading, .level = level};
    if (run(&take, "SELECT t0_ns, t1_ns, n, min, max, sum" SLOTS_IN_WINDOW " ORDER BY t0_ns", level,
            take_slot) != 0) {
        return -1;
    }
    if (!reading->closed &&
        run(&take,
            "SELECT " BLOCK_COLUMNS BLOCKS_IN_WINDOW AFTER_STORED " ORDER BY start_ns, block.id",
            level, take_block) != 0) {
        return -1;
    }
    if (take.slot.count > 0) {
        take_bucket(reading, &take.slot);
    }
    return 0;
}

static void take_samples(struct zoom_reading *reading, const struct night_block_row *row,
                         uint32_t each)
{
    for (uint32_t i = 0; i < row->block.count; i += each) {
        struct zoom_bucket bucket = {0};
        for (uint32_t j = i; j < i + each && j < row->block.count; j++) {
            int64_t time_ns = block_time_ns(&row->block, j);
            if (time_ns >= reading->from_ns && time_ns < reading->to_ns) {
                double value = block_value(&row->block, &row->channel, j);
                zoom_join(&bucket, &(struct zoom_bucket){.t0_ns = time_ns,
                                                         .t1_ns = time_ns,
                                                         .count = 1,
                                                         .min = value,
                                                         .max = value,
                                                         .sum = value});
            }
        }
        if (bucket.count > 0) {
            take_bucket(reading, &bucket);
        }
    }
}

static int read_samples(struct zoom_reading *reading, uint32_t each)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    if (reader_blocks_open(reading->reader, reading->node, reading->channel, reading->from_ns,
                           reading->to_ns, &cursor, reading->error) != 0) {
        return -1;
    }
    int more = 0;
    while ((more = night_blocks_next(cursor, &row, reading->error)) == 1) {
        take_samples(reading, &row, each);
    }
    night_blocks_close(cursor);
    return more;
}

struct count_take {
    size_t counts[2];
};

static int take_counts(void *context, struct sql_columns *row)
{
    struct count_take *take = context;
    take->counts[0] = (size_t)sql_get_int(row);
    take->counts[1] = (size_t)sql_get_int(row);
    return 0;
}

static int count(struct zoom_reading *reading, const char *sql, int level, size_t counts[2])
{
    struct count_take take = {0};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reading->reader, sql, &statement, reading->error) != 0) {
        return -1;
    }
    bind_window(reading, level, statement);
    if (reader_each(reading->reader, statement, take_counts, &take, reading->error) != 0) {
        return -1;
    }
    memcpy(counts, take.counts, sizeof take.counts);
    return 0;
}

static int count_level(struct zoom_reading *reading, int level, size_t *total)
{
    size_t stored[2];
    size_t open[2] = {0};
    if (count(reading, "SELECT count(*), 0" SLOTS_IN_WINDOW, level, stored) != 0 ||
        (!reading->closed &&
         count(reading, "SELECT count(DISTINCT t0_ns / ?7), 0" BLOCKS_IN_WINDOW AFTER_STORED, level,
               open) != 0)) {
        return -1;
    }
    *total = stored[0] + open[0];
    return 0;
}

/* From the coarsest resolution to the finest, the first that gives enough. */
static int read_all(struct zoom_reading *reading, size_t pixels)
{
    for (int level = ZOOM_LEVELS; level >= 1; level--) {
        size_t total = 0;
        if (count_level(reading, level, &total) != 0) {
            return -1;
        }
        if (total >= pixels) {
            return read_level(reading, level);
        }
    }
    size_t counts[2];
    if (count(reading, "SELECT count(*), coalesce(sum((n + 15) / 16), 0)" BLOCKS_IN_WINDOW, 0,
              counts) != 0) {
        return -1;
    }
    if (counts[0] >= pixels) {
        return read_blocks(reading);
    }
    return read_samples(reading, counts[1] >= pixels ? FINE_SAMPLES : 1);
}

/* In one transaction: a slot that is stored between two statements would be in neither. */
static int read_all_at_once(struct zoom_reading *reading, size_t pixels)
{
    sqlite3 *db = reading->reader->db;
    if (sql_exec(db, "BEGIN", reading->error) != 0) {
        return reader_fail(reading->reader, reading->error);
    }
    int result = read_all(reading, pixels);
    (void)sqlite3_exec(db, "ROLLBACK", NULL, NULL, NULL); /* nothing was written */
    return result;
}

static void hand_out(const struct zoom_reading *reading, struct night_bucket *buckets)
{
    for (size_t i = 0; i < reading->count; i++) {
        const struct zoom_bucket *from = &reading->buckets[i];
        buckets[i] = (struct night_bucket){.t0_ns = from->t0_ns,
                                           .t1_ns = from->t1_ns,
                                           .min = from->min,
                                           .max = from->max,
                                           .mean = from->sum / (double)from->count,
                                           .count = (uint32_t)from->count};
    }
}

int night_read_zoom(struct night_reader *reader, uint32_t node, const char *channel,
                    int64_t from_ns, int64_t to_ns, size_t pixels, struct night_bucket *buckets,
                    size_t size, size_t *count_out, struct error *error)
{
    if (pixels == 0 || size / 4 < pixels) {
        return error_set(error, ERROR_RANGE, "%s: zoom: %zu buckets for %zu pixels", reader->path,
                         size, pixels);
    }
    struct zoom_reading reading = {.reader = reader,
                                   .node = node,
                                   .channel = channel,
                                   .from_ns = from_ns,
                                   .to_ns = to_ns,
                                   .error = error,
                                   .merge = 1,
                                   .size = 4 * pixels};
    struct night_info info;
    if (night_read_info(reader, &info, error) != 0 ||
        reader_longest_ns(reader, &reading.longest_ns, error) != 0) {
        return -1;
    }
    reading.closed = info.end_ns != 0;
    reading.buckets = malloc(reading.size * sizeof *reading.buckets);
    if (!reading.buckets) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", reader->path);
    }
    int result = read_all_at_once(&reading, pixels);
    if (result == 0) {
        if (reading.count == reading.size) {
            halve(&reading);
        }
        close_bucket(&reading);
        hand_out(&reading, buckets);
        *count_out = reading.count;
    }
    free(reading.buckets);
    return result;
}
