/* A node's detectors, and the blocks that wait for the node's beginning to be known.
 * Must never let the order of channels within a frame show: a switch counts its quiet spell from
 * the first sample of the whole node, which is known at the first advance. Called by pipeline. */
#include "collector/pipeline/lane.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/pipeline/block_copy.h"

/* A block of a switch, until the lane starts. */
struct waiting {
    struct waiting *next;
    struct lane_group *group;
    struct block *block; /* its own copy */
};

struct lane {
    struct lane_groups own;
    int64_t last_ns[NODE_CHANNELS_MAX]; /* of the last sample of each channel */
    int64_t first_ns;                   /* of all samples; INT64_MAX before one came */
    int64_t until_ns;
    struct waiting *waiting; /* oldest first */
};

int lane_new(const struct detector_settings *settings, uint32_t node,
             const struct channel *channels, size_t count, const struct lane_orders *orders,
             const struct lane_sink *sink, struct lane **lane, struct error *error)
{
    if (count > NODE_CHANNELS_MAX) {
        return error_set(error, ERROR_RANGE, "node has %zu channels, at most %d", count,
                         NODE_CHANNELS_MAX);
    }
    struct lane *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    made->own.settings = *settings;
    made->own.node = node;
    made->own.sink = *sink;
    made->own.orders = orders;
    made->own.channel_count = count;
    made->first_ns = INT64_MAX;
    made->until_ns = INT64_MIN;
    for (size_t i = 0; i < count; i++) {
        made->own.channels[i] = channels[i];
        made->last_ns[i] = INT64_MIN;
    }
    if (lane_groups_make(&made->own, error)) {
        lane_free(made);
        return -1;
    }
    *lane = made;
    return 0;
}

static void drop_first_waiting(struct lane *lane)
{
    struct waiting *first = lane->waiting;
    lane->waiting = first->next;
    free(first->block);
    free(first);
}

void lane_free(struct lane *lane)
{
    if (!lane) {
        return;
    }
    while (lane->waiting) {
        drop_first_waiting(lane);
    }
    lane_groups_free(&lane->own);
    free(lane);
}

static bool same_latency(const struct calibration *a, const struct calibration *b)
{
    bool a_known = a->date_ns != 0 && !isnan(a->latency_s);
    bool b_known = b->date_ns != 0 && !isnan(b->latency_s);
    return a_known == b_known && (!a_known || fabs(a->latency_s - b->latency_s) <= 0.0);
}

static bool same_channel(const struct channel *a, const struct channel *b)
{
    return strcmp(a->name, b->name) == 0 && strcmp(a->unit, b->unit) == 0 &&
           a->period_ps == b->period_ps && a->step.mantissa == b->step.mantissa &&
           a->step.exponent == b->step.exponent && a->offset.mantissa == b->offset.mantissa &&
           a->offset.exponent == b->offset.exponent &&
           channel_calibrated(a) == channel_calibrated(b) &&
           same_latency(&a->calibration, &b->calibration);
}

bool lane_has_channels(const struct lane *lane, const struct channel *channels, size_t count)
{
    if (count != lane->own.channel_count) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        if (!same_channel(&lane->own.channels[i], &channels[i])) {
            return false;
        }
    }
    return true;
}

static int keep_waiting(struct lane *lane, struct lane_group *group, const struct block *block,
                        struct error *error)
{
    struct waiting *waiting = malloc(sizeof *waiting);
    struct block *copy = block_copy(block);
    if (!waiting || !copy) {
        free(waiting);
        free(copy);
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    *waiting = (struct waiting){NULL, group, copy};
    struct waiting **end = &lane->waiting;
    while (*end) {
        end = &(*end)->next;
    }
    *end = waiting;
    return 0;
}

int lane_push(struct lane *lane, const struct block *block, struct error *error)
{
    if (block->channel >= lane->own.channel_count) {
        return error_set(error, ERROR_RANGE, "channel %u of %zu", (unsigned)block->channel,
                         lane->own.channel_count);
    }
    if (block->count == 0) {
        return 0;
    }
    if (block->t0_ns <= lane->last_ns[block->channel]) {
        return error_set(error, ERROR_RANGE, "%s: block at %lld ns, not after the last sample",
                         lane->own.channels[block->channel].name, (long long)block->t0_ns);
    }
    lane->last_ns[block->channel] = block_time_ns(block, block->count - 1);
    if (block->t0_ns < lane->first_ns) {
        lane->first_ns = block->t0_ns;
    }
    struct lane_group *group = lane->own.of_channel[block->channel];
    if (!group) {
        return 0;
    }
    if (!group->detector) {
        return keep_waiting(lane, group, block, error);
    }
    return lane_groups_push(group, block, error);
}

int lane_set_clock(struct lane *lane, int64_t time_ns, int64_t clock_sd_ns, struct error *error)
{
    return lane_groups_set_clock(&lane->own, time_ns, clock_sd_ns, error);
}

/* The node's beginning is known: its switches begin, with what has waited. */
static int start(struct lane *lane, struct error *error)
{
    if (lane_groups_start(&lane->own, lane->first_ns, error)) {
        return -1;
    }
    while (lane->waiting) {
        int status = lane_groups_push(lane->waiting->group, lane->waiting->block, error);
        drop_first_waiting(lane);
        if (status) {
            return -1;
        }
    }
    return 0;
}

int lane_advance(struct lane *lane, int64_t until_ns, struct error *error)
{
    if (!lane->own.started && lane->first_ns != INT64_MAX && start(lane, error)) {
        return -1;
    }
    if (until_ns > lane->until_ns) {
        lane->until_ns = until_ns;
    }
    for (size_t i = 0; i < lane->own.count; i++) {
        if (lane_groups_advance(&lane->own.groups[i], until_ns, error)) {
            return -1;
        }
    }
    return 0;
}

int lane_finish(struct lane *lane, struct error *error)
{
    if (!lane->own.started && lane->first_ns != INT64_MAX && start(lane, error)) {
        return -1;
    }
    for (size_t i = 0; i < lane->own.count; i++) {
        lane_groups_finish(&lane->own.groups[i]);
    }
    return 0;
}

size_t lane_count_learning(const struct lane *lane)
{
    size_t learning = 0;
    for (size_t i = 0; i < lane->own.count; i++) {
        learning += !lane->own.groups[i].watching;
    }
    return learning;
}

bool lane_has_begun(const struct lane *lane)
{
    return lane->until_ns != INT64_MIN;
}

int64_t lane_horizon_ns(const struct lane *lane)
{
    int64_t least_ns = lane->until_ns;
    for (size_t i = 0; i < lane->own.count; i++) {
        const struct lane_group *group = &lane->own.groups[i];
        if (group->detector) {
            int64_t horizon_ns = lane_group_in_time_ns(group, detector_horizon_ns(group->detector));
            least_ns = horizon_ns < least_ns ? horizon_ns : least_ns;
        }
    }
    return least_ns;
}
