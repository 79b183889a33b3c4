/* What frames and SenML packs have in common: telling the night and the pipeline, waiting for
 * nodes, and the end of the night. Must never tell the pipeline what the night refused to keep.
 * Called by the other intake files and the session. */
#include <inttypes.h>
#include <stdio.h>

#include "collector/ingest/intake_node.h"
#include "common/log.h"

/* A hole that is seen again may end elsewhere by what a newer clock fit says. */
#define SAME_NS (NS_PER_S / 10)

int intake_tell_clock(struct intake *intake, struct intake_node *node, int64_t time_ns,
                      int64_t clock_sd_ns, struct error *error)
{
    if (clock_sd_ns == node->clock_sd_ns) {
        return 0;
    }
    if (night_put_clock(intake->settings.writer, node->index, time_ns, clock_sd_ns, error)) {
        return -1;
    }
    node->clock_sd_ns = clock_sd_ns;
    pipeline_set_clock(intake->settings.pipeline, node->index, time_ns, clock_sd_ns);
    if (intake->settings.hooks.clock) {
        intake->settings.hooks.clock(intake->settings.hooks.context, node->index, time_ns,
                                     clock_sd_ns);
    }
    return 0;
}

int intake_tell_gap(struct intake *intake, const struct gap *gap, struct error *error)
{
    const struct intake_node *node = intake->nodes[gap->node];
    if (node && gap->start_ns == node->told_from_ns && gap->end_ns - node->told_to_ns < SAME_NS &&
        node->told_to_ns - gap->end_ns < SAME_NS) {
        return 0; /* the recorder died between telling it and the frame behind it */
    }
    if (night_put_gap(intake->settings.writer, gap, error)) {
        return -1;
    }
    log_info("%s: no samples for %.3f s: %s", intake_node_id(intake, gap->node),
             (double)(gap->end_ns - gap->start_ns) / 1e9, gap->reason);
    if (intake->settings.hooks.gap) {
        intake->settings.hooks.gap(intake->settings.hooks.context, gap);
    }
    return 0;
}

/* Whether the pipeline refused it. */
static bool push_one(struct intake *intake, uint32_t node, const struct block *block)
{
    struct error error;
    if (block->count == 0 || pipeline_push(intake->settings.pipeline, node, block, &error) == 0) {
        return false;
    }
    if (error.code != ERROR_RANGE) {
        log_error("%s: not judged live: %s", intake_node_id(intake, node), error.text);
    }
    return true;
}

/* The earliest block first: where that one comes too late none is pushed, where it does not, none
 * does. So a frame is judged live whole or not at all. */
bool intake_push(struct intake *intake, uint32_t node, const struct block *blocks, size_t count)
{
    size_t earliest = 0;
    for (size_t i = 1; i < count; i++) {
        if (blocks[i].t0_ns < blocks[earliest].t0_ns) {
            earliest = i;
        }
    }
    if (count > 0 && push_one(intake, node, &blocks[earliest])) {
        return true;
    }
    for (size_t i = 0; i < count; i++) {
        if (i != earliest && push_one(intake, node, &blocks[i])) {
            return true;
        }
    }
    return false;
}

static void set_waited_for(struct intake *intake, struct intake_node *node, bool waited_for)
{
    struct error error;
    if (node->waited_for == waited_for) {
        return;
    }
    if (pipeline_set_waited_for(intake->settings.pipeline, node->index, waited_for, &error)) {
        log_error("%s: %s", intake_node_id(intake, node->index), error.text);
    }
    node->waited_for = waited_for;
    if (intake->settings.hooks.waited_for) {
        intake->settings.hooks.waited_for(intake->settings.hooks.context, node->index, waited_for);
    }
}

void intake_advance(struct intake *intake, struct intake_node *node, int64_t until_ns)
{
    struct error error;
    if (pipeline_advance(intake->settings.pipeline, node->index, until_ns, &error)) {
        log_error("%s: %s", intake_node_id(intake, node->index), error.text);
        return;
    }
    /* A node that has begun is waited for from its first advance on. */
    if (!node->advanced) {
        node->advanced = true;
        node->waited_for = true;
    }
    if (intake_now(intake) - until_ns <= INTAKE_WAIT_NS / 2) {
        set_waited_for(intake, node, true);
    }
}

void intake_tick(struct intake *intake)
{
    int64_t now = intake_now(intake);
    intake_remind_marks(intake, now);
    for (size_t i = 0; i < intake->settings.site->node_count; i++) {
        struct intake_node *node = intake->nodes[i];
        if (!node) {
            continue;
        }
        if (node->senml && node->advanced && now - node->senml_lag_ns > node->cook.until_ns) {
            node->cook.until_ns = now - node->senml_lag_ns;
            intake_advance(intake, node, node->cook.until_ns);
        }
        if (node->advanced && now - node->cook.until_ns > INTAKE_WAIT_NS) {
            set_waited_for(intake, node, false);
        }
    }
}

/* Whether the node has a channel whose samples should come by the clock. */
static bool ticks(const struct channel_list *list)
{
    for (size_t i = 0; list && i < list->count; i++) {
        if (list->channels[i].period_ps > 0) {
            return true;
        }
    }
    return false;
}

/* Channels that stood still while the node itself went on. */
static int finish_channels(struct intake *intake, const struct intake_node *node,
                           const struct channel_list *list, int64_t end_ns, struct error *error)
{
    for (size_t i = 0; list && i < list->count; i++) {
        struct gap gap;
        int64_t last = node->cook.last_ns[i];
        if (last == INT64_MIN) {
            last = intake->settings.night_start_ns; /* it never began */
        }
        if (node->watch.last_ns - last > GAPS_SILENT_NS &&
            gap_between(node->index, &list->channels[i], last, end_ns, &gap) &&
            intake_tell_gap(intake, &gap, error)) {
            return -1;
        }
    }
    return 0;
}

static int finish_node(struct intake *intake, uint32_t index, int64_t end_ns, struct error *error)
{
    struct gap gap;
    struct gap_watch never;
    gap_watch_init(&never, index);
    const struct intake_node *node = intake->nodes[index];
    const struct gap_watch *watch = node ? &node->watch : &never;
    const struct channel_list *list =
        node && node->told_boot ? intake_find_list(node, node->told_boot) : NULL;
    bool only_changes = node && node->senml && watch->heard && !ticks(list);
    if (!only_changes && gap_watch_finish(watch, intake->settings.night_start_ns, end_ns, &gap) &&
        intake_tell_gap(intake, &gap, error)) {
        return -1;
    }
    return node ? finish_channels(intake, node, list, end_ns, error) : 0;
}

int intake_finish(struct intake *intake, int64_t end_ns, struct error *error)
{
    for (uint32_t i = 0; i < intake->settings.site->node_count; i++) {
        if (finish_node(intake, i, end_ns, error)) {
            return error_wrap(error, "%s", intake_node_id(intake, i));
        }
    }
    return 0;
}
