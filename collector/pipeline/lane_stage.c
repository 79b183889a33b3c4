/* A quiet spell that begins by hand: a new detector takes over at one moment of data time, whatever
 * the blocks and their order. Must never give a sample to both. Called by lane.c. */
#include "collector/pipeline/lane_groups.h"

#include <stdlib.h>
#include <string.h>

static struct detector *newest(const struct lane_group *group)
{
    return group->stage_count ? group->stages[group->stage_count - 1].detector : group->detector;
}

static int begin(struct lane_group *group, const struct quiet_order *order, struct error *error)
{
    const struct lane_groups *home = group->home;
    struct detector_settings settings = home->settings;
    struct detector *detector = NULL;
    if (group->stage_count == LANE_STAGES) {
        return error_set(error, ERROR_STATE, "%s: more than %d quiet spells begin at once",
                         group->quantity, LANE_STAGES);
    }
    settings.start_ns = order->from_ns;
    settings.goes_on = true;
    settings.by_hand = order->length_ns == 0;
    if (order->length_ns > 0) {
        settings.baseline_s = (double)order->length_ns * 1e-9;
    }
    if (lane_groups_make_detector(home, group, &settings, &detector, error)) {
        return -1;
    }
    detector_set_clock(detector, home->last_step.time_ns, home->last_step.sd_ns);
    group->stage_watching = false;
    group->stages[group->stage_count++] = (struct lane_stage){order->from_ns, detector};
    return 0;
}

static int heed(struct lane_group *group, int64_t until_ns, struct error *error)
{
    const struct lane_orders *orders = group->home->orders;
    while (orders && group->detector && group->orders_heeded < orders->count &&
           orders->list[group->orders_heeded].from_ns <= until_ns) {
        const struct quiet_order *order = &orders->list[group->orders_heeded++];
        if (order->end) {
            detector_end_quiet(newest(group), order->from_ns);
        } else if (begin(group, order, error)) {
            return -1;
        }
    }
    return 0;
}

/* Samples [from, to) of the block, each at the very time that it has in the whole one. */
static void push_part(struct detector *detector, const struct block *block, uint32_t from,
                      uint32_t to, int64_t *times)
{
    struct block part = *block;
    for (uint32_t i = from; i < to; i++) {
        times[i] = block_time_ns(block, i);
    }
    part.count = to - from;
    part.t0_ns = times[from];
    part.times_ns = times + from;
    part.counts = block->counts ? block->counts + from : NULL;
    part.decimals = block->decimals ? block->decimals + from : NULL;
    detector_push(detector, &part);
}

static int push_split(struct lane_group *group, const struct block *block, struct error *error)
{
    int64_t *times = malloc(block->count * sizeof *times);
    uint32_t from = 0;
    if (!times) {
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    for (size_t stage = 0; stage <= group->stage_count; stage++) {
        bool last = stage == group->stage_count;
        uint32_t to = from;
        while (to < block->count &&
               (last || block_time_ns(block, to) < group->stages[stage].from_ns)) {
            to++;
        }
        struct detector *detector =
            stage == 0 ? group->detector : group->stages[stage - 1].detector;
        if (to > from) {
            push_part(detector, block, from, to, times);
        }
        from = to;
    }
    free(times);
    return 0;
}

int lane_groups_push(struct lane_group *group, const struct block *block, struct error *error)
{
    if (heed(group, block_time_ns(block, block->count - 1), error)) {
        return -1;
    }
    if (group->stage_count == 0 ||
        block_time_ns(block, block->count - 1) < group->stages[0].from_ns) {
        detector_push(group->detector, block);
        return 0;
    }
    return push_split(group, block, error);
}

static void take_over(struct lane_group *group)
{
    detector_finish(group->detector);
    detector_free(group->detector);
    group->detector = group->stages[0].detector;
    group->stage_count--;
    group->watching = group->stage_count == 0 && group->stage_watching;
    group->stage_watching = group->stage_count > 0 && group->stage_watching;
    memmove(&group->stages[0], &group->stages[1], group->stage_count * sizeof group->stages[0]);
}

int lane_groups_advance(struct lane_group *group, int64_t until_ns, struct error *error)
{
    if (heed(group, until_ns, error)) {
        return -1;
    }
    while (group->stage_count > 0 && group->stages[0].from_ns <= until_ns) {
        take_over(group);
    }
    if (group->detector) {
        detector_advance(group->detector, until_ns);
    }
    return 0;
}

void lane_groups_finish(struct lane_group *group)
{
    while (group->stage_count > 0) {
        take_over(group);
    }
    if (group->detector) {
        detector_finish(group->detector);
    }
}
