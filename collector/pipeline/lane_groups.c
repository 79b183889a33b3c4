/* Which channels go together, and the detectors for them.
 * Must never group axes of different rates. Called by lane. */
#include "collector/pipeline/lane_parts.h"

#include <stdio.h>
#include <string.h>

static const char *const axis_names[3] = {"x", "y", "z"};

static void on_opened(void *context, const struct disturbance *disturbance)
{
    const struct lane *lane = ((struct group_slot *)context)->lane;
    lane->sink.opened(lane->sink.context, disturbance);
}

static void on_closed(void *context, const struct disturbance *disturbance)
{
    const struct lane *lane = ((struct group_slot *)context)->lane;
    lane->sink.closed(lane->sink.context, disturbance);
}

static void on_noticed(void *context, int64_t time_ns, const char *text)
{
    struct group_slot *slot = context;
    const struct lane *lane = slot->lane;
    if (!slot->watching && slot->detector && detector_learnt(slot->detector)) {
        slot->watching = true;
        lane->sink.watching(lane->sink.context, lane->node, slot->quantity, time_ns);
    }
    lane->sink.noticed(lane->sink.context, lane->node, slot->quantity, time_ns, text);
}

static int make_detector(struct lane *lane, struct group_slot *slot, struct error *error)
{
    struct detector_sink sink = {slot, on_opened, on_closed, on_noticed};
    if (detector_new(&lane->settings, lane->node, lane->channels, slot->axes, slot->axis_count,
                     &sink, &slot->detector, error)) {
        return -1;
    }
    for (size_t i = 0; i < lane->step_count; i++) {
        detector_set_clock(slot->detector, lane->steps[i].time_ns, lane->steps[i].sd_ns);
    }
    return 0;
}

/* 0 to 2 for x, y, z; 3 for any other or none. */
static size_t axis_of(const struct channel *channel, char quantity[IDENT_SIZE])
{
    char axis[IDENT_SIZE];
    channel_name_split(channel->name, quantity, axis);
    size_t index = 0;
    while (index < 3 && strcmp(axis, axis_names[index]) != 0) {
        index++;
    }
    return index;
}

/* The channel of this axis that goes with `first`: same quantity, rate and unit. */
static size_t find_axis(const struct lane *lane, size_t first, size_t axis)
{
    char quantity[IDENT_SIZE];
    (void)axis_of(&lane->channels[first], quantity);
    for (size_t i = first; i < lane->channel_count; i++) {
        const struct channel *channel = &lane->channels[i];
        char other[IDENT_SIZE];
        if (!lane->slots[i] && axis_of(channel, other) == axis && strcmp(quantity, other) == 0 &&
            channel->period_ps == lane->channels[first].period_ps &&
            strcmp(channel->unit, lane->channels[first].unit) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

static void take(struct lane *lane, struct group_slot *slot, size_t channel)
{
    slot->axes[slot->axis_count++] = (uint16_t)channel;
    lane->slots[channel] = slot;
}

static struct group_slot *make_group(struct lane *lane, size_t first)
{
    struct group_slot *slot = &lane->groups[lane->group_count++];
    slot->lane = lane;
    if (axis_of(&lane->channels[first], slot->quantity) == 3 ||
        lane->channels[first].period_ps == 0) {
        take(lane, slot, first);
        return slot;
    }
    for (size_t axis = 0; axis < 3; axis++) {
        size_t channel = find_axis(lane, first, axis);
        if (channel != SIZE_MAX) {
            take(lane, slot, channel);
        }
    }
    return slot;
}

int lane_make_groups(struct lane *lane, struct error *error)
{
    for (size_t i = 0; i < lane->channel_count; i++) {
        enum quantity quantity = lane->channels[i].quantity;
        if (lane->slots[i] || quantity == QUANTITY_BATTERY || quantity == QUANTITY_CLOCK) {
            continue;
        }
        struct group_slot *slot = make_group(lane, i);
        if (quantity != QUANTITY_MOTION && make_detector(lane, slot, error)) {
            return -1;
        }
    }
    return 0;
}

int lane_make_late_detectors(struct lane *lane, struct error *error)
{
    for (size_t i = 0; i < lane->group_count; i++) {
        if (!lane->groups[i].detector && make_detector(lane, &lane->groups[i], error)) {
            return -1;
        }
    }
    return 0;
}
