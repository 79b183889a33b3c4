/* Decides where a stretch without samples begins and ends, and says why.
 * Must never take lateness for a hole: only what a frame or the end of the night proves.
 * Called by the intake. */
#include "collector/ingest/gaps.h"

#include <inttypes.h>
#include <stdio.h>

#define PS_PER_NS 1000

void gap_watch_init(struct gap_watch *watch, uint32_t node)
{
    *watch = (struct gap_watch){.node = node};
}

/* Whether this frame stands behind a hole; the reason in words. */
static bool find_reason(const struct gap_watch *watch, const struct gap_frame *frame, char *reason,
                        size_t size)
{
    if (watch->unclocked) {
        (void)snprintf(reason, size,
                       "clock never known: the node restarted before it had the time");
        return true;
    }
    if (frame->lost > 0) {
        (void)snprintf(reason, size, "%sspool overflow on the node: %" PRIu64 " frames given up",
                       frame->new_boot ? "node restarted; " : "", frame->lost);
        return true;
    }
    if (frame->new_boot) {
        (void)snprintf(reason, size, "node restarted%s%s", frame->why ? ": " : "",
                       frame->why ? frame->why : "");
        return true;
    }
    return false;
}

bool gap_watch_frame(struct gap_watch *watch, const struct gap_frame *frame, struct gap *gap)
{
    if (!frame->clock_known) {
        watch->unclocked = true;
        return false;
    }
    bool found = false;
    if (watch->heard) {
        *gap = (struct gap){
            .node = watch->node, .start_ns = watch->last_ns, .end_ns = frame->first_ns};
        found = find_reason(watch, frame, gap->reason, sizeof gap->reason) &&
                gap->end_ns > gap->start_ns;
    }
    if (!watch->heard || frame->last_ns > watch->last_ns) {
        watch->last_ns = frame->last_ns;
    }
    watch->heard = true;
    watch->unclocked = false;
    return found;
}

bool gap_between(uint32_t node, const struct channel *channel, int64_t last_ns, int64_t next_ns,
                 struct gap *gap)
{
    if (channel->period_ps <= 0 || last_ns == INT64_MIN) {
        return false;
    }
    int64_t period_ns = channel->period_ps / PS_PER_NS;
    if (next_ns - last_ns <= period_ns + period_ns / 2 + GAPS_HOLE_NS) {
        return false;
    }
    *gap = (struct gap){.node = node, .start_ns = last_ns, .end_ns = next_ns};
    (void)snprintf(gap->reason, sizeof gap->reason, "sampling stopped: %s", channel->name);
    return true;
}

bool gap_watch_finish(const struct gap_watch *watch, int64_t night_start_ns, int64_t night_end_ns,
                      struct gap *gap)
{
    int64_t from = watch->heard ? watch->last_ns : night_start_ns;
    if (night_end_ns - from <= GAPS_SILENT_NS) {
        return false;
    }
    *gap = (struct gap){.node = watch->node, .start_ns = from, .end_ns = night_end_ns};
    (void)snprintf(gap->reason, sizeof gap->reason, "%s",
                   watch->unclocked ? "clock never known: the node never had the time"
                   : watch->heard   ? "node silent: link or power"
                                    : "node never heard");
    return true;
}
