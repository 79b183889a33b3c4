/* A site and a sink for the fuzzing of recordings: samples must rise in time and count as the first
 * look said. Must never be linked into a product. */
#ifndef ROOMWAKE_TESTS_FUZZ_RECORDING_SINK_H
#define ROOMWAKE_TESTS_FUZZ_RECORDING_SINK_H

#include <stdlib.h>
#include <string.h>

#include "collector/ingest/recording.h"

static const char site_text[] =
    "{\"site\":\"lodge\",\"rooms\":[{\"id\":\"hall\",\"floor\":0,"
    "\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]}],\"doors\":[],\"nodes\":["
    "{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],\"channels\":["
    "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1},"
    "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]},"
    "{\"id\":\"n2\",\"room\":\"hall\",\"position_m\":[2,2,0.8],\"channels\":["
    "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":50}]}]}";

struct seen {
    const struct recording *recording;
    uint64_t samples;
    int64_t last_ns[2][2];
    int64_t until_ns[2];
};

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static int on_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                    struct error *error)
{
    (void)context;
    (void)time_ns;
    (void)error;
    require(node < 2 && clock_sd_ns >= 0);
    return 0;
}

static int on_blocks(void *context, uint32_t node, const struct block *blocks, size_t count,
                     struct error *error)
{
    struct seen *seen = context;
    (void)error;
    for (size_t b = 0; b < count; b++) {
        const struct channel *channel =
            &recording_get_node(seen->recording, node)->channels[blocks[b].channel];
        for (uint32_t i = 0; i < blocks[b].count; i++) {
            struct decimal value;
            int64_t time_ns = block_time_ns(&blocks[b], i);
            require(block_decimal(&blocks[b], channel, i, &value) == 0);
            require(time_ns > seen->last_ns[node][blocks[b].channel]);
            require(time_ns >= seen->until_ns[node]);
            seen->last_ns[node][blocks[b].channel] = time_ns;
            seen->samples++;
        }
    }
    return 0;
}

static int on_advance(void *context, uint32_t node, int64_t until_ns, struct error *error)
{
    struct seen *seen = context;
    (void)error;
    require(until_ns > seen->until_ns[node]);
    seen->until_ns[node] = until_ns;
    return 0;
}

static struct site *fuzz_site(void)
{
    static struct site *site;
    struct error error = {0};
    if (!site) {
        require(site_parse(site_text, sizeof site_text - 1, "site", &site, &error) == 0);
    }
    return site;
}

/* Runs the second pass over a recording that was opened, and closes it; where it was not (opened is
 * not 0), looks at the error. An error names the file first. */
static void run_recording(int opened, struct recording *recording, const char *name,
                          const struct error *why)
{
    if (opened != 0) {
        require(strncmp(why->text, name, strlen(name)) == 0);
        return;
    }
    struct error error;
    struct seen seen = {.recording = recording};
    const struct recording_sink sink = {&seen, on_clock, on_blocks, on_advance};
    for (int i = 0; i < 2; i++) {
        seen.until_ns[i] = INT64_MIN;
        seen.last_ns[i][0] = seen.last_ns[i][1] = INT64_MIN;
    }
    if (recording_run(recording, &sink, &error) == 0) {
        require(seen.samples == recording_samples(recording));
    } else {
        require(error.code != ERROR_NONE && strncmp(error.text, name, strlen(name)) == 0);
    }
    recording_close(recording);
}

#endif
