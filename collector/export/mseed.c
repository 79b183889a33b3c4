/* All samples of a night as FDSN miniSEED 2: what `import --mseed` reads, and seismologists' tools.
 * Must never hold more of a night than the cursor's block. Called through exporters.c.
 *
 * Records go by their start. The letters that stand for nodes and channels are in
 * common/seed_code.h. */
#include "collector/export/exporter.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <libmseed.h>

#include "collector/export/mseed_record.h"
#include "collector/export/stream.h"
#include "collector/export/stream_columns.h"

/* Clock uncertainties in ns; where they need more than 31 bits, as decimals. */
#define CLOCK_EXPONENT (-9)

struct mseed_export {
    struct stream columns; /* not opened: its columns, nodes and clocks alone */
    struct progress progress;
    const struct export_options *options;
    char (*stations)[SEED_STATION_SIZE];
    bool *clock_known; /* one a node */
    FILE *out;
    struct error *error;
};

/* The channels of a node that would share three letters differ in their location code. */
static void locate(const struct mseed_export *run, uint32_t node, const struct channel *channel,
                   struct mseed_stream *stream)
{
    const struct site_node *place = &run->columns.site->nodes[node];
    unsigned number = 0;
    for (size_t i = 0; i < place->channel_count; i++) {
        char other[SEED_CHANNEL_SIZE];
        if (strcmp(place->channels[i].name, channel->name) == 0) {
            break;
        }
        seed_channel_code(&place->channels[i], other);
        number += strcmp(other, stream->channel) == 0;
    }
    (void)snprintf(stream->location, sizeof stream->location, "%02u", number % 100);
}

static void describe(const struct mseed_export *run, uint32_t node, const struct channel *channel,
                     struct mseed_stream *stream)
{
    *stream =
        (struct mseed_stream){.rate_hz = channel->rate_hz, .clock_known = run->clock_known[node]};
    memcpy(stream->station, run->stations[node], sizeof stream->station);
    seed_channel_code(channel, stream->channel);
    locate(run, node, channel, stream);
    struct seed_note *note = &stream->note;
    (void)snprintf(note->node, sizeof note->node, "%s", run->columns.site->nodes[node].id);
    (void)snprintf(note->channel, sizeof note->channel, "%s", channel->name);
    (void)snprintf(note->unit, sizeof note->unit, "%s", channel->unit);
    note->step = channel->step;
    note->offset = channel->offset;
}

static int put_clock(struct mseed_export *run, const struct stream_clock *clock)
{
    struct channel channel;
    struct mseed_stream stream;
    if (channel_init(&channel, STREAM_CLOCK_COLUMN, "s", 0, run->error) != 0) {
        return -1;
    }
    channel.step = (struct decimal){1, CLOCK_EXPONENT};
    run->clock_known[clock->node] = true;
    describe(run, clock->node, &channel, &stream);
    int32_t count = (int32_t)clock->sd_ns;
    struct decimal exact = {clock->sd_ns, CLOCK_EXPONENT};
    struct block block = {.count = 1, .t0_ns = clock->time_ns, .times_ns = &clock->time_ns};
    if (clock->sd_ns <= INT32_MAX) {
        block.counts = &count;
    } else {
        block.encoding = BLOCK_DECIMAL;
        block.decimals = &exact;
    }
    return mseed_write_block(run->out, &stream, &block, 0, 1, run->error);
}

static int put_clocks_until(struct mseed_export *run, int64_t time_ns)
{
    struct stream *columns = &run->columns;
    while (columns->clock_next < columns->clock_count &&
           columns->clocks[columns->clock_next].time_ns <= time_ns) {
        if (put_clock(run, &columns->clocks[columns->clock_next++]) != 0) {
            return -1;
        }
    }
    return 0;
}

static int put_block(struct mseed_export *run, const struct night_block_row *row)
{
    struct mseed_stream stream;
    uint32_t first = 0;
    uint32_t last = row->block.count;
    while (first < last && block_time_ns(&row->block, first) < run->options->from_ns) {
        first++;
    }
    while (last > first && block_time_ns(&row->block, last - 1) >= run->options->to_ns) {
        last--;
    }
    describe(run, row->node, &row->channel, &stream);
    return mseed_write_block(run->out, &stream, &row->block, first, last, run->error);
}

static int take_row(struct mseed_export *run, const struct night_block_row *row)
{
    const char *name = row->channel.name;
    if (row->node >= run->columns.site->node_count) {
        return error_set(run->error, ERROR_FORMAT, "damaged: a block of no node");
    }
    if (!run->columns.wanted_nodes[row->node] || !stream_columns_wanted(run->options, name)) {
        return 0;
    }
    if (stream_columns_find(&run->columns, name) == SIZE_MAX) {
        return error_set(run->error, ERROR_STATE, "channel %s appeared since the export began",
                         name);
    }
    if (progress_tell(&run->progress, row->block.t0_ns, run->error) != 0 ||
        put_clocks_until(run, row->block.t0_ns) != 0) {
        return -1;
    }
    return put_block(run, row);
}

static int put_all(struct mseed_export *run, struct night_reader *reader)
{
    struct night_blocks *blocks = NULL;
    struct night_block_row row;
    const struct export_options *options = run->options;
    size_t node =
        options->node_count == 1 ? site_find_node(run->columns.site, options->nodes[0]) : SIZE_MAX;
    if (night_blocks_open(reader, node, options->from_ns, options->to_ns, &blocks, run->error) !=
        0) {
        return -1;
    }
    int more = 0;
    while ((more = night_blocks_next(blocks, &row, run->error)) == 1 && more == 1) {
        if (take_row(run, &row) != 0) {
            more = -1;
            break;
        }
    }
    night_blocks_close(blocks);
    return more < 0 ? -1 : put_clocks_until(run, INT64_MAX);
}

static int begin(struct mseed_export *run, struct night_reader *reader)
{
    run->columns.options = run->options;
    if (progress_begin(&run->progress, reader, run->options, run->error) != 0 ||
        stream_columns_read(&run->columns, reader, run->error) != 0) {
        return -1;
    }
    size_t count = run->columns.site->node_count + 1;
    run->stations = calloc(count, sizeof *run->stations);
    run->clock_known = calloc(count, sizeof *run->clock_known);
    if (!run->stations || !run->clock_known) {
        return error_set(run->error, ERROR_MEMORY, "mseed: out of memory");
    }
    for (size_t node = 0; node + 1 < count; node++) {
        seed_station_code(run->columns.site, node, run->stations[node]);
    }
    return 0;
}

static void say_nothing(char *words)
{
    (void)words;
}

static int run_mseed(struct night_reader *reader, const struct export_options *options, FILE *out,
                     struct error *error)
{
    struct mseed_export run = {.options = options, .out = out, .error = error};
    ms_loginit(say_nothing, NULL, say_nothing, NULL);
    int result = begin(&run, reader);
    if (result == 0) {
        result = put_all(&run, reader);
    }
    stream_close(&run.columns);
    free(run.stations);
    free(run.clock_known);
    return result;
}

const struct exporter exporter_mseed = {"mseed", "all samples as FDSN miniSEED 2", run_mseed};
