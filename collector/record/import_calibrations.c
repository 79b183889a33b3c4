/* One list of channels a node, from its file or from the findings.
 * Must never leave a value that no longer can be kept exactly. Called by import.c. */
#include "collector/record/import_calibrations.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"

struct import_calibrated {
    struct channel_calibrations known; /* count 0: of none */
    bool in_values;                    /* the recording's values have it already */
};

/* ---- reading ---- */

static int read_file(const char *path, const struct site *site, struct import_calibrated *nodes,
                     struct error *error)
{
    struct channel_calibrations file;
    if (channel_calibrations_load(path, &file, error) != 0) {
        return -1;
    }
    size_t node = site_find_node(site, file.node);
    if (node == SIZE_MAX) {
        return error_set(error, ERROR_FORMAT, "%s: it is of node %s, the site file has none", path,
                         file.node);
    }
    if (nodes[node].known.count > 0) {
        return error_set(error, ERROR_USAGE, "%s: node %s is calibrated already, by %s", path,
                         file.node, nodes[node].in_values ? "the findings" : "another file");
    }
    nodes[node].known = file;
    return 0;
}

static int read_node(const cJSON *item, size_t index, const struct site *site,
                     struct import_calibrated *nodes, struct error *error)
{
    char path[64];
    char id[IDENT_SIZE];
    (void)snprintf(path, sizeof path, "nodes[%zu]", index);
    const cJSON *list = cJSON_GetObjectItemCaseSensitive(item, "calibrations");
    if (!list) {
        return 0;
    }
    if (json_get_text(item, path, "id", id, sizeof id, error) != 0) {
        return -1;
    }
    size_t node = site_find_node(site, id);
    if (node == SIZE_MAX) {
        return 0; /* no sample of it comes in either */
    }
    const cJSON *one = NULL;
    nodes[node].in_values = true;
    cJSON_ArrayForEach(one, list)
    {
        struct calibration calibration;
        (void)snprintf(path, sizeof path, "nodes[%zu].calibrations", index);
        if (!channel_name_valid(one->string, strlen(one->string))) {
            return error_set(error, ERROR_FORMAT, "%s: \"%.40s\" is no channel", path, one->string);
        }
        if (calibration_read(one, path, &calibration, error) != 0 ||
            channel_calibrations_put(&nodes[node].known, one->string, "", &calibration, error) !=
                0) {
            return -1;
        }
    }
    return 0;
}

static int read_findings(const cJSON *findings, const struct site *site,
                         struct import_calibrated *nodes, struct error *error)
{
    const cJSON *list = cJSON_GetObjectItemCaseSensitive(findings, "nodes");
    const cJSON *item = NULL;
    size_t index = 0;
    cJSON_ArrayForEach(item, list)
    {
        if (read_node(item, index++, site, nodes, error) != 0) {
            return -1;
        }
    }
    return 0;
}

int import_calibrations_read(const struct import_source *source, const cJSON *findings,
                             const struct site *site, struct import_calibrations *out,
                             struct error *error)
{
    out->nodes = calloc(site->node_count + 1, sizeof *out->nodes);
    if (!out->nodes) {
        return error_set(error, ERROR_MEMORY, "import: out of memory");
    }
    if (findings && read_findings(findings, site, out->nodes, error) != 0) {
        return error_wrap(error, "%s", source->marks);
    }
    for (size_t i = 0; i < source->calibration_count; i++) {
        if (read_file(source->calibrations[i], site, out->nodes, error) != 0) {
            return -1;
        }
    }
    return 0;
}

void import_calibrations_free(struct import_calibrations *calibrations)
{
    free(calibrations->nodes);
    free(calibrations->blocks);
    free(calibrations->values);
    *calibrations = (struct import_calibrations){0};
}

/* ---- using ---- */

int import_calibrations_channels(const struct import_calibrations *calibrations, uint32_t node,
                                 struct channel *channels, size_t count, struct error *error)
{
    const struct import_calibrated *own = &calibrations->nodes[node];
    for (size_t i = 0; own->in_values && i < count; i++) {
        const struct calibration *known = channel_calibrations_find(&own->known, channels[i].name);
        channels[i].calibration = known ? *known : channels[i].calibration;
    }
    if (own->in_values) {
        return 0;
    }
    return channel_calibrations_check(&own->known, channels, count, error) != 0
               ? -1
               : channel_calibrations_apply(&own->known, channels, count, error);
}

/* NULL: of none that is still to be applied. */
static const struct calibration *to_apply(const struct import_calibrations *calibrations,
                                          uint32_t node, const struct channel *channel)
{
    const struct import_calibrated *own = &calibrations->nodes[node];
    return own->in_values ? NULL : channel_calibrations_find(&own->known, channel->name);
}

static int make_room(struct import_calibrations *calibrations, const struct block *blocks,
                     size_t count, struct error *error)
{
    size_t values = 0;
    for (size_t i = 0; i < count; i++) {
        values += blocks[i].encoding == BLOCK_DECIMAL ? blocks[i].count : 0;
    }
    free(calibrations->blocks);
    free(calibrations->values);
    calibrations->blocks = calloc(count + 1, sizeof *calibrations->blocks);
    calibrations->values = calloc(values + 1, sizeof *calibrations->values);
    return calibrations->blocks && calibrations->values
               ? 0
               : error_set(error, ERROR_MEMORY, "import: out of memory");
}

static int put_through(const struct calibration *calibration, const struct channel *channel,
                       const struct block *block, struct decimal *values, struct error *error)
{
    for (uint32_t i = 0; i < block->count; i++) {
        if (calibration_value(calibration, block->decimals[i], &values[i]) != 0) {
            return error_set(error, ERROR_RANGE,
                             "%s: a value can't be kept exactly once it is calibrated",
                             channel->name);
        }
    }
    return 0;
}

int import_calibrations_blocks(struct import_calibrations *calibrations, uint32_t node,
                               const struct channel *channels, const struct block *blocks,
                               size_t count, const struct block **out, struct error *error)
{
    *out = blocks;
    if (calibrations->nodes[node].in_values || calibrations->nodes[node].known.count == 0) {
        return 0;
    }
    if (make_room(calibrations, blocks, count, error) != 0) {
        return -1;
    }
    struct decimal *values = calibrations->values;
    for (size_t i = 0; i < count; i++) {
        const struct channel *channel = &channels[blocks[i].channel];
        const struct calibration *calibration = to_apply(calibrations, node, channel);
        calibrations->blocks[i] = blocks[i];
        if (!calibration || blocks[i].encoding != BLOCK_DECIMAL) {
            continue;
        }
        if (put_through(calibration, channel, &blocks[i], values, error) != 0) {
            return -1;
        }
        calibrations->blocks[i].decimals = values;
        values += blocks[i].count;
    }
    *out = calibrations->blocks;
    return 0;
}
