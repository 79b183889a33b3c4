/* Grouping by quantity, axis, rate and unit; callbacks from detectors to the lane's sink.
 * Must never depend on the order of the axes. Called by lane. */
#include "collector/pipeline/lane_groups.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"

static const char *const axis_names[3] = {"x", "y", "z"};

int64_t lane_group_in_time_ns(const struct lane_group *group, int64_t time_ns)
{
    bool moves = time_ns != 0 && time_ns != INT64_MAX && time_ns != INT64_MIN;
    return moves ? time_ns - group->latency_ns : time_ns;
}

/* As if its samples had borne the time of what they tell of; that is known to its uncertainty. */
static struct disturbance in_time(const struct lane_group *group,
                                  const struct disturbance *disturbance)
{
    struct disturbance moved = *disturbance;
    moved.onset_ns = lane_group_in_time_ns(group, moved.onset_ns);
    moved.peak_ns = lane_group_in_time_ns(group, moved.peak_ns);
    moved.end_ns = lane_group_in_time_ns(group, moved.end_ns);
    moved.closed_ns = lane_group_in_time_ns(group, moved.closed_ns);
    moved.pick_sd_ns = llround(hypot((double)moved.pick_sd_ns, (double)group->latency_sd_ns));
    return moved;
}

static void on_opened(void *context, const struct disturbance *disturbance)
{
    const struct lane_group *slot = context;
    const struct disturbance moved = in_time(slot, disturbance);
    slot->home->sink.opened(slot->home->sink.context, &moved);
}

static void on_closed(void *context, const struct disturbance *disturbance)
{
    const struct lane_group *slot = context;
    const struct disturbance moved = in_time(slot, disturbance);
    slot->home->sink.closed(slot->home->sink.context, &moved);
}

static void on_noticed(void *context, int64_t time_ns, const char *text)
{
    struct lane_group *slot = context;
    const struct lane_groups *home = slot->home;
    bool *watching = slot->stage_count ? &slot->stage_watching : &slot->watching;
    const struct detector *newest =
        slot->stage_count ? slot->stages[slot->stage_count - 1].detector : slot->detector;
    if (!*watching && newest && detector_learnt(newest)) {
        *watching = true;
        home->sink.watching(home->sink.context, home->node, slot->quantity,
                            lane_group_in_time_ns(slot, time_ns));
    }
    home->sink.noticed(home->sink.context, home->node, slot->quantity, time_ns, text);
}

int lane_groups_make_detector(const struct lane_groups *groups, struct lane_group *slot,
                              const struct detector_settings *settings, struct detector **detector,
                              struct error *error)
{
    struct detector_sink sink = {slot, on_opened, on_closed, on_noticed};
    return detector_new(settings, groups->node, groups->channels, slot->axes, slot->axis_count,
                        &sink, detector, error);
}

static int make_detector(struct lane_groups *groups, struct lane_group *slot, struct error *error)
{
    if (lane_groups_make_detector(groups, slot, &groups->settings, &slot->detector, error)) {
        return -1;
    }
    for (size_t i = 0; i < groups->step_count; i++) {
        detector_set_clock(slot->detector, groups->steps[i].time_ns, groups->steps[i].sd_ns);
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
static size_t find_axis(const struct lane_groups *groups, size_t first, size_t axis)
{
    char quantity[IDENT_SIZE];
    (void)axis_of(&groups->channels[first], quantity);
    for (size_t i = first; i < groups->channel_count; i++) {
        const struct channel *channel = &groups->channels[i];
        char other[IDENT_SIZE];
        if (!groups->of_channel[i] && axis_of(channel, other) == axis &&
            strcmp(quantity, other) == 0 &&
            channel->period_ps == groups->channels[first].period_ps &&
            strcmp(channel->unit, groups->channels[first].unit) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

static void take(struct lane_groups *groups, struct lane_group *slot, size_t channel)
{
    const struct calibration *known = &groups->channels[channel].calibration;
    slot->axes[slot->axis_count++] = (uint16_t)channel;
    groups->of_channel[channel] = slot;
    /* The axes are one part's: the first that was measured speaks for all. */
    if (known->date_ns != 0 && !isnan(known->latency_s) && slot->latency_ns == 0) {
        slot->latency_ns = llround(known->latency_s * (double)NS_PER_S);
        slot->latency_sd_ns =
            isnan(known->latency_sd_s) ? 0 : llround(known->latency_sd_s * (double)NS_PER_S);
    }
}

static struct lane_group *make_group(struct lane_groups *groups, size_t first)
{
    struct lane_group *slot = &groups->groups[groups->count++];
    slot->home = groups;
    if (axis_of(&groups->channels[first], slot->quantity) == 3 ||
        groups->channels[first].period_ps == 0) {
        take(groups, slot, first);
        return slot;
    }
    for (size_t axis = 0; axis < 3; axis++) {
        size_t channel = find_axis(groups, first, axis);
        if (channel != SIZE_MAX) {
            take(groups, slot, channel);
        }
    }
    return slot;
}

int lane_groups_make(struct lane_groups *groups, struct error *error)
{
    for (size_t i = 0; i < groups->channel_count; i++) {
        enum quantity quantity = groups->channels[i].quantity;
        if (groups->of_channel[i] || quantity == QUANTITY_BATTERY || quantity == QUANTITY_CLOCK) {
            continue;
        }
        struct lane_group *slot = make_group(groups, i);
        if (quantity != QUANTITY_MOTION && make_detector(groups, slot, error)) {
            return -1;
        }
    }
    return 0;
}

int lane_groups_start(struct lane_groups *groups, int64_t start_ns, struct error *error)
{
    groups->settings.start_ns = start_ns;
    for (size_t i = 0; i < groups->count; i++) {
        struct lane_group *slot = &groups->groups[i];
        if (!slot->detector && make_detector(groups, slot, error)) {
            return -1;
        }
    }
    groups->started = true;
    return 0;
}

int lane_groups_set_clock(struct lane_groups *groups, int64_t time_ns, int64_t clock_sd_ns,
                          struct error *error)
{
    for (size_t i = 0; i < groups->count; i++) {
        struct lane_group *slot = &groups->groups[i];
        if (slot->detector) {
            detector_set_clock(slot->detector, time_ns, clock_sd_ns);
        }
        for (size_t j = 0; j < slot->stage_count; j++) {
            detector_set_clock(slot->stages[j].detector, time_ns, clock_sd_ns);
        }
    }
    groups->last_step = (struct lane_clock){time_ns, clock_sd_ns};
    size_t count = groups->step_count;
    if (groups->started || (count > 0 && groups->steps[count - 1].sd_ns == clock_sd_ns)) {
        return 0;
    }
    struct lane_clock *steps = realloc(groups->steps, (count + 1) * sizeof *steps);
    if (!steps) {
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    groups->steps = steps;
    groups->steps[groups->step_count++] = (struct lane_clock){time_ns, clock_sd_ns};
    return 0;
}

void lane_groups_free(struct lane_groups *groups)
{
    for (size_t i = 0; i < groups->count; i++) {
        struct lane_group *slot = &groups->groups[i];
        detector_free(slot->detector);
        for (size_t j = 0; j < slot->stage_count; j++) {
            detector_free(slot->stages[j].detector);
        }
    }
    free(groups->steps);
}
