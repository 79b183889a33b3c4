/* The columns of a stream from all boots' channels, the nodes that are wanted, and the changes of
 * the clocks' uncertainties. Must never take a name that the house's rules forbid.
 * Called by stream.c and mseed.c. */
#include "collector/export/stream_columns.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct reading {
    struct stream *stream;
    struct error *error;
};

static int out_of_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "export: out of memory");
}

static int compare_columns(const void *a, const void *b)
{
    return strcmp(((const struct stream_column *)a)->name, ((const struct stream_column *)b)->name);
}

size_t stream_columns_find(const struct stream *stream, const char *name)
{
    if (stream->column_count == 0) {
        return SIZE_MAX;
    }
    struct stream_column key = {0};
    (void)snprintf(key.name, sizeof key.name, "%s", name);
    const struct stream_column *found = bsearch(&key, stream->columns, stream->column_count,
                                                sizeof *stream->columns, compare_columns);
    return found ? (size_t)(found - stream->columns) : SIZE_MAX;
}

bool stream_columns_wanted(const struct export_options *options, const char *channel)
{
    for (size_t i = 0; i < options->channel_count; i++) {
        if (strcmp(options->channels[i], channel) == 0) {
            return true;
        }
    }
    return options->channel_count == 0;
}

static int add_column(struct stream *stream, const char *name, const char *unit,
                      struct error *error)
{
    if (!channel_name_valid(name, strlen(name))) {
        return error_set(error, ERROR_FORMAT, "damaged: a channel's name is none");
    }
    if (!stream_columns_wanted(stream->options, name) ||
        stream_columns_find(stream, name) != SIZE_MAX) {
        return 0;
    }
    struct stream_column *columns =
        realloc(stream->columns, (stream->column_count + 1) * sizeof *columns);
    if (!columns) {
        return out_of_memory(error);
    }
    stream->columns = columns;
    struct stream_column *column = &columns[stream->column_count++];
    (void)snprintf(column->name, sizeof column->name, "%s", name);
    (void)snprintf(column->unit, sizeof column->unit, "%s", unit);
    qsort(columns, stream->column_count, sizeof *columns, compare_columns);
    return 0;
}

static int take_channel(void *context, uint32_t node, const struct channel *channel)
{
    const struct reading *to = context;
    if (node >= to->stream->site->node_count) {
        return error_set(to->error, ERROR_FORMAT, "damaged: a channel of no node");
    }
    return to->stream->wanted_nodes[node]
               ? add_column(to->stream, channel->name, channel->unit, to->error)
               : 0;
}

static int add_clock(struct stream *stream, struct stream_clock clock, struct error *error)
{
    if (stream->clock_count == stream->clock_size) {
        size_t size = stream->clock_size ? 2 * stream->clock_size : 256;
        struct stream_clock *clocks = realloc(stream->clocks, size * sizeof *clocks);
        if (!clocks) {
            return out_of_memory(error);
        }
        stream->clocks = clocks;
        stream->clock_size = size;
    }
    stream->clocks[stream->clock_count++] = clock;
    return 0;
}

/* What was known before the window holds at its beginning: the last of each node is moved there. */
static int take_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns)
{
    const struct reading *to = context;
    struct stream *stream = to->stream;
    struct stream_clock clock = {time_ns, node, clock_sd_ns};
    if (time_ns >= stream->options->to_ns || node >= stream->site->node_count ||
        !stream->wanted_nodes[node]) {
        return 0;
    }
    if (time_ns > stream->options->from_ns) {
        return add_clock(stream, clock, to->error);
    }
    clock.time_ns = stream->options->from_ns;
    size_t at = 0;
    while (at < stream->clock_count && stream->clocks[at].node < node) {
        at++;
    }
    if (at < stream->clock_count && stream->clocks[at].node == node) {
        stream->clocks[at] = clock;
        return 0;
    }
    if (add_clock(stream, clock, to->error) != 0) {
        return -1;
    }
    memmove(stream->clocks + at + 1, stream->clocks + at,
            (stream->clock_count - 1 - at) * sizeof *stream->clocks);
    stream->clocks[at] = clock;
    return 0;
}

static int mark_nodes(struct stream *stream, struct error *error)
{
    const struct export_options *options = stream->options;
    stream->wanted_nodes = calloc(stream->site->node_count + 1, sizeof *stream->wanted_nodes);
    if (!stream->wanted_nodes) {
        return out_of_memory(error);
    }
    for (size_t i = 0; i < stream->site->node_count; i++) {
        stream->wanted_nodes[i] = options->node_count == 0;
    }
    for (size_t i = 0; i < options->node_count; i++) {
        size_t node = site_find_node(stream->site, options->nodes[i]);
        if (node == SIZE_MAX) {
            return error_set(error, ERROR_USAGE, "--node: the night has no node \"%.32s\"",
                             options->nodes[i]);
        }
        stream->wanted_nodes[node] = true;
    }
    return 0;
}

static int check_channels(const struct stream *stream, struct error *error)
{
    const struct export_options *options = stream->options;
    for (size_t i = 0; i < options->channel_count; i++) {
        if (stream_columns_find(stream, options->channels[i]) == SIZE_MAX) {
            return error_set(error, ERROR_USAGE, "--channel: no such node has a channel \"%.47s\"",
                             options->channels[i]);
        }
    }
    return 0;
}

int stream_columns_read(struct stream *stream, struct night_reader *reader, struct error *error)
{
    struct reading reading = {stream, error};
    if (night_read_site(reader, stream->options->analysis, &stream->site, error) != 0 ||
        mark_nodes(stream, error) != 0 ||
        night_each_channel(reader, take_channel, &reading, error) != 0 ||
        night_each_clock(reader, take_clock, &reading, error) != 0 ||
        (stream->clock_count > 0 && add_column(stream, STREAM_CLOCK_COLUMN, "s", error) != 0)) {
        return -1;
    }
    stream->clock_column = stream_columns_find(stream, STREAM_CLOCK_COLUMN);
    if (stream->clock_column == SIZE_MAX) {
        stream->clock_count = 0;
    }
    return check_channels(stream, error);
}
