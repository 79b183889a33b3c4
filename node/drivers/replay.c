/* The replay driver: a recording played as if it happened now.
 * Must never change a value: counts are exact decimals over the channel's step. Listed in
 * drivers.c. */
#include "node/drivers/driver.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "common/timefmt.h"
#include "node/drivers/replay_csv.h"

#define POLL_NS INT64_C(50000000)         /* rows are handed over in turns, not one by one */
#define FAST_CHUNK_NS INT64_C(1000000000) /* of the recording, in each turn of a fast replay */

extern const struct driver_type driver_replay;

struct driver {
    struct replay_csv csv;
    struct replay_row row; /* the next to hand over */
    bool has_row;
    size_t channels[REPLAY_COLUMNS_MAX]; /* of a column; SIZE_MAX: not ours */
    int64_t periods_ps[REPLAY_COLUMNS_MAX];
    int64_t shift_ns; /* node time minus the recording's */
    bool fast;
};

static const char *const fields[] = {"path", "node", "speed", "start", "units", NULL};

struct settings {
    char path[1024];
    char node[IDENT_SIZE];
    bool fast;
    bool has_start;
    int64_t start_ns; /* since 1970, by the node's wall clock */
    const cJSON *units;
};

static int read_start(const struct driver_setup *setup, struct settings *out, struct error *error)
{
    char text[64];
    if (json_get_text_or(setup->settings, setup->path, "start", "", text, sizeof text, error)) {
        return -1;
    }
    out->has_start = text[0] != '\0';
    if (out->has_start && timefmt_parse_rfc3339(text, strlen(text), &out->start_ns, error)) {
        return error_wrap(error, "%s.start", setup->path);
    }
    return 0;
}

static int read_settings(const struct driver_setup *setup, struct settings *out,
                         struct error *error)
{
    char name[1024];
    char speed[16];
    const cJSON *json = setup->settings;
    if (json_check_fields(json, setup->path, fields, error) ||
        json_get_text(json, setup->path, "path", name, sizeof name, error) ||
        json_get_text_or(json, setup->path, "node", "", out->node, sizeof out->node, error) ||
        json_get_text_or(json, setup->path, "speed", "real", speed, sizeof speed, error) ||
        read_start(setup, out, error)) {
        return -1;
    }
    out->fast = strcmp(speed, "fast") == 0;
    if (!out->fast && strcmp(speed, "real") != 0) {
        return error_set(error, ERROR_FORMAT, "%s.speed: must be \"real\" or \"fast\"",
                         setup->path);
    }
    if (out->fast && out->has_start) {
        return error_set(error, ERROR_FORMAT, "%s.start: not together with speed \"fast\"",
                         setup->path);
    }
    out->units = cJSON_GetObjectItemCaseSensitive(json, "units");
    if (out->units && !cJSON_IsObject(out->units)) {
        return error_set(error, ERROR_FORMAT, "%s.units: must be an object", setup->path);
    }
    bool absolute = name[0] == '/' || !setup->config_dir;
    int length = snprintf(out->path, sizeof out->path, "%s%s%s", absolute ? "" : setup->config_dir,
                          absolute ? "" : "/", name);
    if (length < 0 || (size_t)length >= sizeof out->path) {
        return error_set(error, ERROR_RANGE, "%s.path: too long", setup->path);
    }
    return 0;
}

static int make_channel(struct driver *driver, size_t column, const struct driver_setup *setup,
                        const cJSON *units, struct channel *channel, struct error *error)
{
    const struct replay_series *series = &driver->csv.series[column];
    const char *name = driver->csv.names[column];
    const char *unit = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(units, name));
    /* A motion sensor tells changes, however regular they happen to be. */
    bool on_change = quantity_from_name(name) == QUANTITY_MOTION;
    if (channel_init(channel, name, unit, on_change ? 0.0 : series->rate_hz, error)) {
        return error_wrap(error, "%s", setup->path);
    }
    channel->step = (struct decimal){.mantissa = 1, .exponent = (int16_t)series->exponent};
    driver->periods_ps[column] = channel->period_ps;
    return 0;
}

static int make_channels(struct driver *driver, const struct driver_setup *setup,
                         const cJSON *units, struct channel *channels, size_t size, size_t *count,
                         struct error *error)
{
    *count = 0;
    for (size_t i = 0; i < driver->csv.column_count; i++) {
        driver->channels[i] = SIZE_MAX;
        if (driver->csv.series[i].count == 0 ||
            quantity_from_name(driver->csv.names[i]) == QUANTITY_CLOCK) {
            continue; /* an export tells its own clock's uncertainty; this node has its own */
        }
        if (*count == size) {
            return error_set(error, ERROR_RANGE, "%s: more than %zu channels", setup->path, size);
        }
        if (make_channel(driver, i, setup, units, &channels[*count], error)) {
            return -1;
        }
        driver->channels[i] = (*count)++;
    }
    if (*count == 0) {
        return error_set(error, ERROR_NOT_FOUND, "%s: %s has no sample of node \"%s\"", setup->path,
                         driver->csv.path, driver->csv.node);
    }
    return 0;
}

/* Reads on to the next row of this node. */
static int read_row(struct driver *driver, struct error *error)
{
    int got;
    do {
        got = replay_csv_next(&driver->csv, &driver->row, error);
    } while (got > 0 && !driver->row.ours);
    driver->has_row = got > 0;
    return got < 0 ? -1 : 0;
}

/* Real time: the recording's first row is now, or at "start". Fast: its last row is now, so that no
 * sample lies in the node's future. */
static void place_in_time(struct driver *driver, const struct driver_setup *setup,
                          const struct settings *settings)
{
    const struct clock_source *clock = &setup->clock;
    int64_t now_ns = clock->mono_ns(clock->context);
    if (settings->fast) {
        driver->shift_ns = now_ns - driver->csv.last_ns;
    } else if (settings->has_start) {
        int64_t from_now_ns = settings->start_ns - clock->real_ns(clock->context);
        driver->shift_ns = now_ns + from_now_ns - driver->csv.first_ns;
    } else {
        driver->shift_ns = now_ns - driver->csv.first_ns;
    }
}

static void replay_close(struct driver *driver)
{
    replay_csv_close(&driver->csv);
    free(driver);
}

static int replay_open(const struct driver_setup *setup, struct driver **out,
                       struct channel *channels, size_t size, size_t *count, struct error *error)
{
    struct settings settings = {0};
    if (read_settings(setup, &settings, error)) {
        return -1;
    }
    struct driver *driver = calloc(1, sizeof *driver);
    if (!driver) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    driver->fast = settings.fast;
    if (replay_csv_open(&driver->csv, settings.path, settings.node, error) ||
        make_channels(driver, setup, settings.units, channels, size, count, error) ||
        read_row(driver, error)) {
        replay_close(driver);
        return -1;
    }
    place_in_time(driver, setup, &settings);
    *out = driver;
    return 0;
}

static int hand_over(const struct driver *driver, const struct driver_sink *sink,
                     struct error *error)
{
    int64_t time_ns = driver->row.time_ns + driver->shift_ns;
    for (size_t i = 0; i < driver->csv.column_count; i++) {
        int64_t wide;
        if (!driver->row.cells[i].present || driver->channels[i] == SIZE_MAX) {
            continue;
        }
        if (decimal_rescale(driver->row.cells[i].value, driver->csv.series[i].exponent, &wide) ||
            wide < INT32_MIN || wide > INT32_MAX) {
            return error_set(error, ERROR_STATE, "%s changed while it was played",
                             driver->csv.path);
        }
        int32_t count = (int32_t)wide;
        if (driver->periods_ps[i] > 0) {
            sink->samples(sink->context, driver->channels[i], time_ns, driver->periods_ps[i],
                          &count, 1);
        } else {
            sink->change(sink->context, driver->channels[i], time_ns, count);
        }
    }
    return 0;
}

static int replay_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                       int64_t *next_ns, struct error *error)
{
    int64_t until_ns = now_ns;
    if (driver->fast && driver->has_row) {
        int64_t chunk_ns = driver->row.time_ns + driver->shift_ns + FAST_CHUNK_NS;
        until_ns = chunk_ns < now_ns ? chunk_ns : now_ns;
    }
    while (driver->has_row && driver->row.time_ns + driver->shift_ns <= until_ns) {
        if (hand_over(driver, sink, error) || read_row(driver, error)) {
            return -1;
        }
    }
    if (!driver->has_row) {
        *next_ns = INT64_MAX;
        return 0;
    }
    int64_t row_ns = driver->row.time_ns + driver->shift_ns;
    bool wait = !driver->fast && row_ns < now_ns + POLL_NS;
    *next_ns = wait ? now_ns + POLL_NS : row_ns;
    return 0;
}

const struct driver_type driver_replay = {
    .name = "replay",
    .open = replay_open,
    .poll = replay_poll,
    .close = replay_close,
};
