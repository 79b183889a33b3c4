/* SenML records of one home-made node: which channel, in order or late, cut into blocks.
 * Must never take half a pack: all is checked before anything is kept.
 * Called by the intake. */
#include "collector/ingest/senml_node.h"

#include <stdlib.h>
#include <string.h>

#include "collector/ingest/series.h"

/* A record further ahead of its arrival than this has a broken clock. */
#define AHEAD_MOST_NS INT64_C(60000000000)
#define NO_CHANNEL UINT16_MAX

struct remembered {
    int64_t time_ns;
    struct decimal value;
};

struct input {
    struct series fresh;
    struct series late;
    int64_t last_ns;
    struct remembered *ring; /* SENML_REMEMBERED long once there was a sample */
    size_t seen;
};

struct senml_node {
    const struct site_node *node;
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
    bool settled;
    struct input inputs[NODE_CHANNELS_MAX];
    struct block *blocks;
    size_t blocks_size;
};

int senml_node_new(const struct site_node *node, struct senml_node **out, struct error *error)
{
    struct senml_node *senml = calloc(1, sizeof *senml);
    if (!senml) {
        return error_set(error, ERROR_MEMORY, "senml: out of memory");
    }
    senml->node = node;
    senml->channel_count = node->channel_count;
    memcpy(senml->channels, node->channels, sizeof senml->channels);
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        senml->inputs[i].last_ns = INT64_MIN;
    }
    *out = senml;
    return 0;
}

void senml_node_free(struct senml_node *senml)
{
    if (!senml) {
        return;
    }
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        series_free(&senml->inputs[i].fresh);
        series_free(&senml->inputs[i].late);
        free(senml->inputs[i].ring);
    }
    free(senml->blocks);
    free(senml);
}

const struct channel *senml_node_channels(const struct senml_node *senml, size_t *count)
{
    *count = senml->channel_count;
    return senml->channels;
}

/* The name is the channel's, or ends in it behind a slash or a colon. */
static uint16_t find_channel(const struct senml_node *senml, const char *name)
{
    size_t length = strlen(name);
    for (size_t i = 0; i < senml->channel_count; i++) {
        size_t part = strlen(senml->channels[i].name);
        if (part > length || strcmp(name + length - part, senml->channels[i].name) != 0) {
            continue;
        }
        if (part == length || name[length - part - 1] == '/' || name[length - part - 1] == ':') {
            return (uint16_t)i;
        }
    }
    return NO_CHANNEL;
}

static int check_record(const struct senml_record *record, const struct channel *channel,
                        int64_t arrival_ns, struct error *error)
{
    if (record->kind != SENML_NUMBER && record->kind != SENML_BOOLEAN) {
        return error_set(error, ERROR_FORMAT, "senml: record \"%.64s\": no number", record->name);
    }
    if (record->unit[0] != '\0' && strcmp(record->unit, channel->unit) != 0) {
        return error_set(error, ERROR_FORMAT,
                         "senml: record \"%.64s\": unit \"%s\" where the site file has \"%s\"",
                         record->name, record->unit, channel->unit);
    }
    if (record->time_ns < 0 || record->time_ns > arrival_ns + AHEAD_MOST_NS) {
        return error_set(error, ERROR_RANGE,
                         "senml: record \"%.64s\": its time is ahead of the site's", record->name);
    }
    return 0;
}

/* *channels[i] is the channel of record i. Also refuses two values of a channel at one time. */
static int check_pack(const struct senml_node *senml, const struct senml_record *records,
                      size_t count, int64_t arrival_ns, uint16_t *channels, struct error *error)
{
    int64_t last[NODE_CHANNELS_MAX];
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        last[i] = INT64_MIN;
    }
    for (size_t i = 0; i < count; i++) {
        uint16_t channel = find_channel(senml, records[i].name);
        channels[i] = channel;
        if (channel == NO_CHANNEL) {
            continue;
        }
        if (check_record(&records[i], &senml->channels[channel], arrival_ns, error)) {
            return -1;
        }
        if (records[i].time_ns == last[channel]) {
            return error_set(error, ERROR_FORMAT, "senml: record \"%.64s\": two values at one time",
                             records[i].name);
        }
        last[channel] = records[i].time_ns;
    }
    return 0;
}

/* What a step is for a channel that the first pack does not have; finer values come as decimals. */
static int usual_exponent(enum quantity quantity)
{
    switch (quantity) {
    case QUANTITY_MAGNETIC:
        return -9;
    case QUANTITY_MOTION:
        return 0;
    case QUANTITY_VIBRATION:
    case QUANTITY_ELECTRIC:
        return -6;
    default:
        return -3;
    }
}

static void settle_steps(struct senml_node *senml, const struct senml_record *records, size_t count,
                         const uint16_t *channels)
{
    int finest[NODE_CHANNELS_MAX];
    for (size_t i = 0; i < senml->channel_count; i++) {
        finest[i] = usual_exponent(senml->channels[i].quantity);
    }
    senml->settled = false;
    for (size_t i = 0; i < count; i++) {
        if (channels[i] != NO_CHANNEL) {
            senml->settled = true;
            finest[channels[i]] = series_finest(finest[channels[i]], records[i].value);
        }
    }
    for (size_t i = 0; i < senml->channel_count; i++) {
        senml->channels[i].step = (struct decimal){1, (int16_t)finest[i]};
        senml->channels[i].offset = (struct decimal){0, 0};
    }
}

static bool was_seen(const struct input *input, const struct senml_record *record)
{
    size_t kept = input->seen < SENML_REMEMBERED ? input->seen : SENML_REMEMBERED;
    for (size_t i = 0; i < kept; i++) {
        const struct remembered *old = &input->ring[i];
        if (old->time_ns == record->time_ns && old->value.mantissa == record->value.mantissa &&
            old->value.exponent == record->value.exponent) {
            return true;
        }
    }
    return false;
}

/* Reserves what sorting the records in can need, so that it can't fail half-way. */
static int reserve(struct senml_node *senml, const uint16_t *channels, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct input *input = channels[i] == NO_CHANNEL ? NULL : &senml->inputs[channels[i]];
        if (!input) {
            continue;
        }
        if (!input->ring) {
            input->ring = calloc(SENML_REMEMBERED, sizeof *input->ring);
        }
        if (!input->ring || series_reserve(&input->fresh, count) ||
            series_reserve(&input->late, count)) {
            return -1;
        }
    }
    return 0;
}

static void sort_in(struct senml_node *senml, const struct senml_record *record, uint16_t channel,
                    int64_t floor_ns, struct senml_batch *batch)
{
    struct input *input = &senml->inputs[channel];
    bool old = record->time_ns <= input->last_ns || record->time_ns < floor_ns;
    if (old && was_seen(input, record)) {
        batch->repeated++;
        return;
    }
    /* Memory was reserved and the pack's times of a channel differ: this can't fail. */
    (void)series_insert(old ? &input->late : &input->fresh, record->time_ns, record->value);
    input->ring[input->seen % SENML_REMEMBERED] =
        (struct remembered){record->time_ns, record->value};
    input->seen++;
    batch->oldest_ns = record->time_ns < batch->oldest_ns ? record->time_ns : batch->oldest_ns;
    if (!old) {
        input->last_ns = record->time_ns;
        batch->first_ns = record->time_ns < batch->first_ns ? record->time_ns : batch->first_ns;
        batch->last_ns = record->time_ns > batch->last_ns ? record->time_ns : batch->last_ns;
    }
}

static struct block *cut(struct senml_node *senml, bool late, struct block *at)
{
    for (size_t i = 0; i < senml->channel_count; i++) {
        struct series *series = late ? &senml->inputs[i].late : &senml->inputs[i].fresh;
        size_t count = series_block_count(series, series->count, &senml->channels[i]);
        series_make_blocks(series, series->count, (uint16_t)i, &senml->channels[i], at);
        at += count;
    }
    return at;
}

/* A pack of n records falls into n blocks at most. */
static int reserve_blocks(struct senml_node *senml, size_t count)
{
    if (count <= senml->blocks_size) {
        return 0;
    }
    struct block *blocks = realloc(senml->blocks, count * sizeof *blocks);
    if (!blocks) {
        return -1;
    }
    senml->blocks = blocks;
    senml->blocks_size = count;
    return 0;
}

static void fill_batch(struct senml_node *senml, const struct senml_record *records, size_t count,
                       const uint16_t *channels, int64_t floor_ns, struct senml_batch *batch)
{
    *batch =
        (struct senml_batch){.first_ns = INT64_MAX, .last_ns = INT64_MIN, .oldest_ns = INT64_MAX};
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        senml->inputs[i].fresh.count = 0;
        senml->inputs[i].late.count = 0;
    }
    for (size_t i = 0; i < count; i++) {
        if (channels[i] == NO_CHANNEL) {
            if (batch->skipped++ == 0) {
                memcpy(batch->skipped_name, records[i].name, sizeof batch->skipped_name);
            }
            continue;
        }
        batch->from_arrival = batch->from_arrival || records[i].time_from_arrival;
        sort_in(senml, &records[i], channels[i], floor_ns, batch);
    }
    int64_t own_sd = (int64_t)(senml->node->clock_error_s * 1e9 + 0.5);
    batch->clock_sd_ns =
        batch->from_arrival && own_sd < SENML_ARRIVAL_SD_NS ? SENML_ARRIVAL_SD_NS : own_sd;
    struct block *end = cut(senml, false, senml->blocks);
    batch->blocks = senml->blocks;
    batch->block_count = (size_t)(end - senml->blocks);
    batch->late = end;
    batch->late_count = (size_t)(cut(senml, true, end) - end);
}

int senml_node_take(struct senml_node *senml, const char *json, size_t length, int64_t arrival_ns,
                    int64_t floor_ns, struct senml_batch *batch, struct error *error)
{
    struct senml_record *records = NULL;
    size_t count = 0;
    if (senml_resolve(json, length, arrival_ns, &records, &count, error)) {
        return -1;
    }
    int result = -1;
    uint16_t *channels = calloc(count > 0 ? count : 1, sizeof *channels);
    if (!channels) {
        (void)error_set(error, ERROR_MEMORY, "senml: out of memory");
        goto out;
    }
    if (check_pack(senml, records, count, arrival_ns, channels, error)) {
        goto out;
    }
    if (reserve(senml, channels, count) || reserve_blocks(senml, count)) {
        (void)error_set(error, ERROR_MEMORY, "senml: out of memory");
        goto out;
    }
    if (!senml->settled) {
        settle_steps(senml, records, count, channels);
    }
    fill_batch(senml, records, count, channels, floor_ns, batch);
    result = 0;
out:
    free(channels);
    free(records);
    return result;
}
