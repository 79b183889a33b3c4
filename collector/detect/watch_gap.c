/* A band where its samples stop: what is open is closed, what comes after settles first, and how
 * far back an onset may still lie. Must never look at a sample. Part of watch, split by idea.
 */
#include "collector/detect/watch.h"

void watch_run_out(struct watch *watch)
{
    watch->bank.level_count = 0;
}

void watch_cut(struct watch *watch, int64_t closed_ns)
{
    const struct history *history = watch->settings.history;
    if (watch->stage != WATCH_IDLE && history->end > 0) {
        int64_t last_ns = history->times[(history->end - 1) & history->mask];
        watch_close(watch, last_ns, closed_ns, false);
    }
    watch->stage = WATCH_IDLE;
}

void watch_resume(struct watch *watch, int64_t gap_ns)
{
    watch->run_start = watch->settings.history->end;
    watch->bank.level_count = BANK_LEVELS;
    bank_restart(&watch->bank);
    if (watch->trigger.state == TRIGGER_LEARNING) {
        /* A first guess needs samples in a row. */
        if (watch->start_count < watch->settings.pace.start_samples) {
            watch->start_count = 0;
        }
        return;
    }
    watch->stale = (watch->trigger.state == TRIGGER_SETTLING && watch->stale) ||
                   gap_ns > watch->settings.pace.stale_gap_ns;
    watch->trigger.state = TRIGGER_SETTLING;
    watch->start_count = 0;
}

int64_t watch_horizon_ns(const struct watch *watch, int64_t now_ns)
{
    const struct history *history = watch->settings.history;
    bool deaf = watch->trigger.state == TRIGGER_LEARNING ||
                watch->trigger.state == TRIGGER_SETTLING || watch->stage == WATCH_TOLD;
    if (deaf) {
        /* What comes next is raised later than this, and not picked before it may be raised. */
        return now_ns;
    }
    if (watch->stage == WATCH_SETTLING) {
        return watch->open.onset_ns;
    }
    int64_t from_ns = now_ns;
    if (watch->stage == WATCH_PICKING) {
        from_ns = history->times[watch->raised & history->mask];
    }
    from_ns -= watch->settings.pace.lookback_ns;
    return from_ns > watch->floor_ns ? from_ns : watch->floor_ns;
}
