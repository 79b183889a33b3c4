/* What the nodes of a night said about their channels, and the site file.
 * Must never guess a scale. Called by the other readers, export and reanalyse. */
#include "collector/night/reader_internal.h"

#include <math.h>

#define RATE_SAMPLES_LEAST 50

void reader_get_channel(struct sql_columns *row, struct channel *channel)
{
    *channel = (struct channel){0};
    sql_get_text(row, channel->name, sizeof channel->name);
    sql_get_text(row, channel->unit, sizeof channel->unit);
    channel->quantity = quantity_from_name(channel->name);
    channel->rate_hz = sql_get_real(row);
    channel->period_ps = sql_get_int(row);
    channel->step.mantissa = sql_get_int(row);
    channel->step.exponent = (int16_t)sql_get_int(row);
    channel->offset.mantissa = sql_get_int(row);
    channel->offset.exponent = (int16_t)sql_get_int(row);
    channel->least = (int32_t)sql_get_int(row);
    channel->most = (int32_t)sql_get_int(row);
    sql_get_calibration(row, &channel->calibration);
}

struct channel_list {
    struct channel *channels;
    size_t size;
    size_t count;
};

static int take_channel(void *context, struct sql_columns *row)
{
    struct channel_list *list = context;
    if (list->count < list->size) {
        reader_get_channel(row, &list->channels[list->count++]);
    }
    return 0;
}

int night_read_channels(struct night_reader *reader, uint32_t node, struct channel *channels,
                        size_t size, size_t *count, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    struct channel_list list = {channels, size, 0};
    if (reader_prepare(reader,
                       "SELECT " READER_CHANNEL_COLUMNS " FROM channel WHERE boot ="
                       " (SELECT max(id) FROM boot WHERE node=?) ORDER BY id",
                       &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, node);
    if (reader_each(reader, statement, take_channel, &list, error) != 0) {
        return -1;
    }
    *count = list.count;
    return 0;
}

static int take_rate(void *context, struct sql_columns *row)
{
    double *rate_hz = context;
    int64_t intervals = sql_get_int(row);
    double span_s = (double)sql_get_int(row) * 1e-9;
    *rate_hz =
        intervals >= RATE_SAMPLES_LEAST && span_s > 0.0 ? (double)intervals / span_s : (double)NAN;
    return 0;
}

int night_read_rate(struct night_reader *reader, uint32_t node, const char *channel,
                    double *rate_hz, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    *rate_hz = (double)NAN;
    if (reader_prepare(reader,
                       "SELECT coalesce(sum(zoom.n - 1), 0), coalesce(sum(t1_ns - t0_ns), 0)"
                       " FROM zoom WHERE channel IN (SELECT channel.id FROM channel"
                       " JOIN boot ON boot.id = channel.boot WHERE node=? AND name=?"
                       " AND period_ps > 0)",
                       &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, node);
    (void)sqlite3_bind_text(statement, 2, channel, -1, SQLITE_STATIC);
    return reader_each(reader, statement, take_rate, rate_hz, error);
}

struct channel_each {
    int (*each)(void *context, uint32_t node, const struct channel *channel);
    void *context;
};

static int take_each_channel(void *context, struct sql_columns *row)
{
    const struct channel_each *to = context;
    struct channel channel;
    uint32_t node = (uint32_t)sql_get_int(row);
    reader_get_channel(row, &channel);
    return to->each(to->context, node, &channel);
}

int night_each_channel(struct night_reader *reader,
                       int (*each)(void *context, uint32_t node, const struct channel *channel),
                       void *context, struct error *error)
{
    struct channel_each to = {each, context};
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reader,
                       "SELECT boot.node, " READER_CHANNEL_COLUMNS
                       " FROM channel JOIN boot ON boot.id = channel.boot ORDER BY channel.id",
                       &statement, error) != 0) {
        return -1;
    }
    return reader_each(reader, statement, take_each_channel, &to, error);
}

static int take_text(void *context, struct sql_columns *row)
{
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(row, &length);
    return text_append(context, (const char *)bytes, length);
}

int night_read_site_text(struct night_reader *reader, struct text *text, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(reader, "SELECT file FROM site ORDER BY id DESC LIMIT 1", &statement,
                       error) != 0 ||
        reader_each(reader, statement, take_text, text, error) != 0) {
        return -1;
    }
    return text->length > 0 ? 0 : error_set(error, ERROR_FORMAT, "holds no site");
}
