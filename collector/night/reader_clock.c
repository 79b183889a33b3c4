/* The nodes' clocks over a night, each row as it was put.
 * Must never judge or repair. Called by re-analysis and review. */
#include "collector/night/reader_clock.h"

#include <stdlib.h>

#include "collector/night/reader_internal.h"
#include "collector/night/reader_long.h"

#define STATE_JSON_MAX 65536

struct state_each {
    int (*each)(void *context, uint32_t node, int64_t time_ns, const char *json);
    void *context;
    char *json;
};

static int take_state(void *context, struct sql_columns *row)
{
    const struct state_each *to = context;
    uint32_t node = (uint32_t)sql_get_int(row);
    int64_t time_ns = sql_get_int(row);
    sql_get_text(row, to->json, STATE_JSON_MAX);
    return to->each(to->context, node, time_ns, to->json);
}

int night_each_state(struct night_reader *reader,
                     int (*each)(void *context, uint32_t node, int64_t time_ns, const char *json),
                     void *context, struct error *error)
{
    struct state_each to = {each, context, malloc(STATE_JSON_MAX)};
    sqlite3_stmt *statement = NULL;
    int result = -1;
    if (!to.json) {
        return error_set(error, ERROR_MEMORY, "states: out of memory");
    }
    if (reader_prepare(reader, "SELECT node, time_ns, json FROM state ORDER BY node, time_ns, id",
                       &statement, error) == 0) {
        result = reader_each(reader, statement, take_state, &to, error);
    }
    free(to.json);
    return result;
}

struct fit_each {
    int (*each)(void *context, const struct night_fit_row *row);
    void *context;
};

static int take_fit(void *context, struct sql_columns *row)
{
    const struct fit_each *to = context;
    struct night_fit_row taken = {.node = (uint32_t)sql_get_int(row)};
    taken.start_ns = sql_get_int(row);
    taken.end_ns = sql_get_int(row);
    taken.fit.known = true;
    taken.fit.ref_node_ns = sql_get_int(row);
    taken.fit.offset_ns = sql_get_int(row);
    taken.fit.rate_ppt = sql_get_int(row);
    taken.fit.uncertainty_ns = sql_get_int(row);
    taken.fit.growth_ppb = sql_get_int(row);
    return to->each(to->context, &taken);
}

int night_each_fit(struct night_reader *reader,
                   int (*each)(void *context, const struct night_fit_row *row), void *context,
                   struct error *error)
{
    struct fit_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reader,
                       "SELECT node, min(start_ns) AS first, max(end_ns), ref_node_ns, offset_ns,"
                       " rate_ppt, uncertainty_ns, growth_ppb FROM frame"
                       " JOIN fit ON fit.id = frame.fit JOIN boot ON boot.id = frame.boot"
                       " WHERE start_ns IS NOT NULL GROUP BY fit.id ORDER BY node, first, fit.id",
                       &statement, error) != 0) {
        return -1;
    }
    return reader_each(reader, statement, take_fit, &to, error);
}

struct block_time_each {
    int (*each)(void *context, const struct night_block_time *time);
    void *context;
    struct codec *codec;
    struct long_block block;
    struct error *error;
};

/* Node, boot and a block's columns up to its cuts. */
static int take_block_times(void *context, struct sql_columns *row)
{
    struct block_time_each *to = context;
    char boot[17];
    struct night_block_time time = {.node = (uint32_t)sql_get_int(row)};
    sql_get_text(row, boot, sizeof boot);
    time.boot = strtoull(boot, NULL, 16);
    if (long_block_head(row, &to->block, to->error) != 0 ||
        long_block_cuts(to->codec, row, &to->block, to->error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < to->block.cut_count; i++) {
        time.node_t0_ns = to->block.cuts[i].node_t0_ns;
        time.t0_ns = to->block.cuts[i].t0_ns;
        int answer = to->each(to->context, &time);
        if (answer != 0) {
            return answer;
        }
    }
    return 0;
}

int night_each_block_time(struct night_reader *reader,
                          int (*each)(void *context, const struct night_block_time *time),
                          void *context, struct error *error)
{
    struct block_time_each to = {
        .each = each, .context = context, .codec = reader->codec, .error = error};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reader,
                       "SELECT node, boot.boot, " LONG_BLOCK_COLUMNS " FROM block CROSS JOIN"
                       " channel ON channel.id = block.channel CROSS JOIN boot"
                       " ON boot.id = channel.boot WHERE block.clocked ORDER BY block.id",
                       &statement, error) != 0) {
        return -1;
    }
    int result = reader_each(reader, statement, take_block_times, &to, error);
    long_block_free(&to.block);
    return result;
}
