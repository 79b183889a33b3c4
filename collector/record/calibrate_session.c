/* A night's blocks, or a CSV recording's, to series.
 * Must never hold more than the channels asked for. Called by calibrate.c. */
#include "collector/record/calibrate_session.h"

#include <math.h>
#include <string.h>

#include "collector/ingest/csv.h"
#include "collector/night/reader.h"

struct take {
    const struct calibrate_settings *settings;
    struct calibrate_wanted *wanted;
    size_t count;
    const struct site *site;
    const struct recording *recording; /* of a CSV */
};

static int take_block(const struct take *take, struct calibrate_wanted *wanted,
                      const struct block *block, const struct channel *channel, struct error *error)
{
    wanted->description = *channel;
    wanted->series.step =
        channel_reading(channel, decimal_to_double(channel->step)) - channel_reading(channel, 0.0);
    for (uint32_t i = 0; i < block->count; i++) {
        int64_t time_ns = block_time_ns(block, i);
        if (time_ns < take->settings->from_ns || time_ns >= take->settings->to_ns) {
            continue;
        }
        if (wanted->series.count > 0 &&
            time_ns <= wanted->series.times_ns[wanted->series.count - 1]) {
            continue; /* a clock's correction turned it back */
        }
        if (readings_add(&wanted->series, time_ns,
                         channel_reading(channel, block_value(block, channel, i)), error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int take_blocks(const struct take *take, const char *node, const struct block *block,
                       const struct channel *channel, struct error *error)
{
    for (size_t i = 0; i < take->count; i++) {
        if (strcmp(take->wanted[i].channel, channel->name) == 0 &&
            strcmp(take->wanted[i].node, node) == 0 &&
            take_block(take, &take->wanted[i], block, channel, error) != 0) {
            return -1;
        }
    }
    return 0;
}

/* ---- a night ---- */

static int read_night_node(struct night_reader *reader, const struct take *take, size_t node,
                           struct error *error)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    int more;
    if (night_blocks_open(reader, node, take->settings->from_ns, take->settings->to_ns, &cursor,
                          error) != 0) {
        return -1;
    }
    while ((more = night_blocks_next(cursor, &row, error)) == 1) {
        if (take_blocks(take, take->site->nodes[node].id, &row.block, &row.channel, error) != 0) {
            more = -1;
            break;
        }
    }
    night_blocks_close(cursor);
    return more;
}

static int find_nodes(const struct take *take, struct error *error)
{
    for (size_t i = 0; i < take->count; i++) {
        size_t node = site_find_node(take->site, take->wanted[i].node);
        if (node == SIZE_MAX) {
            return error_set(error, ERROR_NOT_FOUND, "%s: it has no node %s",
                             take->settings->session_path, take->wanted[i].node);
        }
        take->wanted[i].clock_sd_s = take->site->nodes[node].clock_error_s;
    }
    return 0;
}

static int read_night(struct night_reader *reader, struct take *take, struct error *error)
{
    if (find_nodes(take, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < take->count; i++) {
        size_t node = site_find_node(take->site, take->wanted[i].node);
        struct night_node_summary summary;
        bool done = i > 0 && strcmp(take->wanted[i].node, take->wanted[i - 1].node) == 0;
        if (night_read_node_summary(reader, (uint32_t)node, &summary, error) != 0 ||
            (!done && read_night_node(reader, take, node, error) != 0)) {
            return -1;
        }
        if (summary.clock_sd_ns >= 0) {
            take->wanted[i].clock_sd_s = (double)summary.clock_sd_ns * 1e-9;
        }
    }
    return 0;
}

/* ---- a CSV recording ---- */

static int on_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                    struct error *error)
{
    const struct take *take = context;
    (void)time_ns;
    (void)error;
    for (size_t i = 0; i < take->count; i++) {
        if (strcmp(take->wanted[i].node, take->site->nodes[node].id) == 0) {
            take->wanted[i].clock_sd_s = (double)clock_sd_ns * 1e-9;
        }
    }
    return 0;
}

static int on_blocks(void *context, uint32_t node, const struct block *blocks, size_t count,
                     struct error *error)
{
    const struct take *take = context;
    const struct recording_node *found = recording_get_node(take->recording, node);
    for (size_t i = 0; i < count; i++) {
        if (take_blocks(take, take->site->nodes[node].id, &blocks[i],
                        &found->channels[blocks[i].channel], error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int on_advance(void *context, uint32_t node, int64_t until_ns, struct error *error)
{
    (void)context;
    (void)node;
    (void)until_ns;
    (void)error;
    return 0;
}

static int read_csv(struct take *take, struct site *site, struct error *error)
{
    struct recording *recording = NULL;
    const struct recording_sink sink = {take, on_clock, on_blocks, on_advance};
    take->site = site;
    if (find_nodes(take, error) != 0 ||
        csv_open(take->settings->session_path, site, &recording, error) != 0) {
        return -1;
    }
    take->recording = recording;
    int result = recording_run(recording, &sink, error);
    recording_close(recording);
    return result;
}

/* ---- both ---- */

static int read_session(struct take *take, struct error *error)
{
    struct night_reader *reader = NULL;
    struct site *site = NULL;
    int result;
    if (take->settings->site_path) {
        result = site_load(take->settings->site_path, &site, NULL, error) != 0
                     ? -1
                     : read_csv(take, site, error);
    } else {
        result = night_reader_open(take->settings->session_path, &reader, error) != 0 ||
                         night_read_site(reader, 0, &site, error) != 0
                     ? -1
                     : 0;
        take->site = site;
        result = result == 0 ? read_night(reader, take, error) : -1;
        night_reader_close(reader);
    }
    site_free(site);
    return result;
}

int calibrate_session_read(const struct calibrate_settings *settings,
                           struct calibrate_wanted *wanted, size_t count, struct error *error)
{
    struct take take = {.settings = settings, .wanted = wanted, .count = count};
    if (read_session(&take, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        if (wanted[i].series.count == 0) {
            return error_set(error, ERROR_NOT_FOUND, "%s: node %s has no samples of %s%s",
                             settings->session_path, wanted[i].node, wanted[i].channel,
                             settings->from_ns != INT64_MIN || settings->to_ns != INT64_MAX
                                 ? " from --from to --to"
                                 : "");
        }
    }
    return 0;
}
