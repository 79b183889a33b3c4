/* Any bytes as a CSV recording: samples that rise in time and count as the first look said, or an
 * error that names the file. Must never be linked into a product; libFuzzer calls it. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "collector/ingest/csv.h"
#include "collector/ingest/series.c" /* what csv*.c stands on */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char site_text[] =
    "{\"site\":\"lodge\",\"rooms\":[{\"id\":\"hall\",\"floor\":0,"
    "\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]}],\"doors\":[],\"nodes\":["
    "{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],\"channels\":["
    "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1},"
    "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]},"
    "{\"id\":\"n2\",\"room\":\"hall\",\"position_m\":[2,2,0.8],\"channels\":["
    "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":50}]}]}";

struct seen {
    const struct recording *csv;
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
            &recording_get_node(seen->csv, node)->channels[blocks[b].channel];
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

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct site *site;
    struct error error = {0};
    if (!site) {
        require(site_parse(site_text, sizeof site_text - 1, "site", &site, &error) == 0);
    }
    struct seen seen = {.last_ns = {{INT64_MIN, INT64_MIN}, {INT64_MIN, INT64_MIN}},
                        .until_ns = {INT64_MIN, INT64_MIN}};
    const struct recording_sink sink = {&seen, on_clock, on_blocks, on_advance};
    struct recording *csv = NULL;
    if (csv_open_bytes("night.csv", (const char *)data, size, site, &csv, &error) != 0) {
        require(strncmp(error.text, "night.csv", 9) == 0);
        return 0;
    }
    seen.csv = csv;
    if (recording_run(csv, &sink, &error) == 0) {
        require(seen.samples == recording_samples(csv));
    } else {
        require(strncmp(error.text, "night.csv:", 10) == 0);
    }
    recording_close(csv);
    return 0;
}
