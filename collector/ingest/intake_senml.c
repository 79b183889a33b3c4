/* One SenML pack of a home-made node: its blocks into the night and the pipeline.
 * Must never take packs of a node that speaks the blocks format: its channels are its own.
 * Called by intake.c. */
#include <stdio.h>

#include "collector/ingest/intake_node.h"
#include "common/log.h"

/* Home-made nodes keep time as they can: only a hole of this many periods is called one. */
#define HOLE_PERIODS 3
#define PS_PER_NS 1000
/* Room beyond the oldest record of a pack, and how slowly it is given back: a part per pack. */
#define LAG_ROOM_NS INT64_C(1000000000)
#define LAG_BACK 16

/* The node's first pack: its channels come from the site file, its times are UTC. */
static int begin(struct intake *intake, struct intake_node *node, struct error *error)
{
    if (node->senml) {
        return 0;
    }
    if (intake_newest_list(node)) {
        return error_set(error, ERROR_STATE,
                         "refused: the node has said hello, it sends blocks and no SenML");
    }
    return senml_node_new(&intake->settings.site->nodes[node->index], &node->senml, error);
}

/* After the first pack has settled the steps. */
static int tell_channels(struct intake *intake, struct intake_node *node, struct error *error)
{
    if (node->told_boot != 0) {
        return 0;
    }
    size_t count;
    uint64_t boot = intake->settings.senml_boot;
    const struct channel *channels = senml_node_channels(node->senml, &count);
    if (night_put_channels(intake->settings.writer, node->index, boot, channels, count, error) ||
        pipeline_set_channels(intake->settings.pipeline, node->index, channels, count, error)) {
        return -1;
    }
    intake_add_list(node, boot, channels, count);
    node->told_boot = boot;
    return 0;
}

/* Frames of NODE_CHANNELS_MAX blocks at most, since a night's frame holds no more. */
static int put_frames(struct intake *intake, struct intake_node *node, const struct block *blocks,
                      size_t count, int64_t clock_sd_ns, bool late, struct error *error)
{
    const struct clock_fit fit = {.known = true, .uncertainty_ns = clock_sd_ns};
    for (size_t done = 0; done < count;) {
        size_t part = count - done < NODE_CHANNELS_MAX ? count - done : NODE_CHANNELS_MAX;
        int64_t times[NODE_CHANNELS_MAX];
        for (size_t i = 0; i < part; i++) {
            times[i] = block_time_ns(&blocks[done + i], 0);
        }
        const struct night_frame_id id = {node->index, intake->settings.senml_boot,
                                          node->senml_seq + 1};
        if (night_put_frame(intake->settings.writer, &id, &fit, blocks + done, times, part, late,
                            error)) {
            return -1;
        }
        node->senml_seq++;
        intake->counts.frames++;
        for (size_t i = 0; i < part; i++) {
            intake->counts.samples += blocks[done + i].count;
        }
        done += part;
    }
    return 0;
}

static bool is_hole(const struct channel *channel, int64_t last_ns, int64_t next_ns)
{
    return next_ns - last_ns > HOLE_PERIODS * (channel->period_ps / PS_PER_NS);
}

/* Names the holes before the batch's blocks, and moves the channels' last times on. */
static int tell_gaps(struct intake *intake, struct intake_node *node,
                     const struct senml_batch *batch, struct error *error)
{
    size_t count;
    const struct channel *channels = senml_node_channels(node->senml, &count);
    for (size_t i = 0; i < batch->block_count; i++) {
        const struct block *block = &batch->blocks[i];
        int64_t last = node->cook.last_ns[block->channel];
        int64_t first = block_time_ns(block, 0);
        struct gap gap;
        if (gap_between(node->index, &channels[block->channel], last, first, &gap) &&
            is_hole(&channels[block->channel], last, first)) {
            if (node->senml_lost) {
                (void)snprintf(gap.reason, sizeof gap.reason,
                               "the base station's disk was too slow: SenML records lost");
            }
            if (intake_tell_gap(intake, &gap, error)) {
                return -1;
            }
        }
        node->cook.last_ns[block->channel] = block_time_ns(block, block->count - 1);
    }
    return 0;
}

static void tell_batch_oddities(struct intake *intake, struct intake_node *node,
                                const struct senml_batch *batch)
{
    intake->counts.duplicates += batch->repeated > 0;
    intake->counts.senml_skipped += batch->skipped;
    if (batch->skipped > 0) {
        char why[SENML_NAME_SIZE + 64];
        (void)snprintf(why, sizeof why, "\"%.200s\" is no channel of the node in the site file",
                       batch->skipped_name);
        intake_say(intake, &node->said_senml, node->index, "senml", why);
    }
    if (batch->late_count > 0) {
        intake->counts.late++;
        intake_say(intake, &node->said_late, node->index, "senml",
                   "records older than those before: stored, but not judged live");
    }
}

static void tell_hooks(struct intake *intake, const struct intake_node *node,
                       const struct block *blocks, size_t count, bool late)
{
    size_t channel_count;
    const struct channel *channels = senml_node_channels(node->senml, &channel_count);
    if (intake->settings.hooks.blocks && count > 0) {
        intake->settings.hooks.blocks(intake->settings.hooks.context, node->index, channels, blocks,
                                      count, late);
    }
}

/* A node that sends every few seconds what it sampled since is waited for that long. Records from
 * long ago, sent after an outage, change nothing. */
static void learn_lag(struct intake_node *node, int64_t now_ns, const struct senml_batch *batch)
{
    int64_t lag = node->senml_lag_ns - node->senml_lag_ns / LAG_BACK;
    int64_t wanted = now_ns - batch->oldest_ns + LAG_ROOM_NS;
    if (wanted > lag && wanted <= INTAKE_SENML_LAG_MOST_NS) {
        lag = wanted;
    }
    node->senml_lag_ns = lag > INTAKE_SENML_LAG_NS ? lag : INTAKE_SENML_LAG_NS;
}

static int put_batch(struct intake *intake, struct intake_node *node,
                     const struct senml_batch *batch, struct error *error)
{
    if (batch->block_count + batch->late_count == 0) {
        return 0;
    }
    if (tell_channels(intake, node, error) ||
        put_frames(intake, node, batch->late, batch->late_count, batch->clock_sd_ns, true, error)) {
        return -1;
    }
    tell_hooks(intake, node, batch->late, batch->late_count, true);
    if (batch->block_count == 0) {
        return 0;
    }
    if (tell_gaps(intake, node, batch, error) ||
        intake_tell_clock(intake, node, batch->first_ns, batch->clock_sd_ns, error)) {
        return -1;
    }
    bool late = intake_push(intake, node->index, batch->blocks, batch->block_count);
    if (put_frames(intake, node, batch->blocks, batch->block_count, batch->clock_sd_ns, late,
                   error)) {
        return -1;
    }
    tell_hooks(intake, node, batch->blocks, batch->block_count, late);
    node->senml_lost = false;
    struct gap gap;
    const struct gap_frame seen = {
        .clock_known = true, .first_ns = batch->first_ns, .last_ns = batch->last_ns};
    (void)gap_watch_frame(&node->watch, &seen, &gap);
    return 0;
}

void intake_take_senml(struct intake *intake, struct intake_node *node, const uint8_t *payload,
                       size_t length)
{
    struct error error;
    struct senml_batch batch;
    int64_t now = intake_now(intake);
    if (begin(intake, node, &error) || senml_node_take(node->senml, (const char *)payload, length,
                                                       now, node->cook.until_ns, &batch, &error)) {
        intake->counts.malformed++;
        intake_say(intake, &node->said_senml, node->index, "senml", error.text);
        return;
    }
    intake->counts.senml_packs++;
    if (batch.from_arrival && node->clock_sd_ns < 0) {
        log_info("%s: its SenML times count from arrival: clock uncertainty %.3f s",
                 intake_node_id(intake, node->index), (double)batch.clock_sd_ns / 1e9);
    }
    tell_batch_oddities(intake, node, &batch);
    if (batch.block_count + batch.late_count > 0) {
        learn_lag(node, now, &batch);
    }
    if (put_batch(intake, node, &batch, &error)) {
        node->senml_lost = true;
        intake->counts.full++;
        intake_say(intake, &node->said_full, node->index, "senml records lost", error.text);
        return;
    }
    if (!node->advanced && batch.block_count > 0) {
        node->cook.until_ns = now - node->senml_lag_ns;
        intake_advance(intake, node, node->cook.until_ns);
    }
}
