/* A band's threshold: chosen at the end of the quiet spell, and again as the night goes on.
 * Must never learn from a disturbance. Called by watch.
 */
#include "collector/detect/watch.h"

/* After so many blocks the threshold is looked at anew, from about so many maxima: blocks are
 * merged so that a look stays cheap. The scale is kept up by as many samples as it remembers. */
#define REFIT_BLOCKS 240u
#define REFIT_MAXIMA 120u
#define REFIT_SCALE_COUNT 16384u
/* A level seen so often among the maxima kept is no rare one. */
#define SEEN_OFTEN 3u
/* Where the scale is not the noise's own but about the least that is believed. */
#define FLOOR_LEAST 3.8
#define FLOOR_NEAR 1.5

void watch_set_threshold(struct watch *watch)
{
    double high = watch->trigger.high * watch->baseline.scale;
    watch->high_squared = high * high;
}

void watch_begin_quiet(struct watch *watch, uint64_t next, int64_t time_ns)
{
    watch->floor_ns = time_ns;
    watch->trigger.state = TRIGGER_QUIET;
    watch->run_start = next;
    watch_set_threshold(watch);
}

void watch_note_scale(struct watch *watch, int64_t time_ns)
{
    watch->learnt_ns = time_ns;
    watch->learnt_scale = watch->baseline.scale;
}

/* A threshold from the maxima so far. */
static void choose_threshold(struct watch *watch, size_t merged, size_t scale_count)
{
    struct baseline *baseline = &watch->baseline;
    double maxima[BASELINE_BLOCKS_MAX];
    bool at_floor = baseline->scale <= FLOOR_NEAR * baseline->scale_floor;
    double block_samples = (double)merged * (double)baseline->tuning.block_samples;
    double block_s = block_samples * (double)watch->settings.pace.period_ns * 1e-9;
    struct tail_input input = {.maxima = maxima,
                               .blocks = baseline_maxima(baseline, merged, maxima),
                               .block_samples = block_samples,
                               .dims = watch->dims,
                               .smooth = watch->settings.name == BAND_MAINS,
                               .onsets_per_block =
                                   watch->settings.onsets_per_hour * block_s / 3600.0,
                               .hold_samples = (double)watch->settings.pace.hold_ns /
                                               (double)watch->settings.pace.period_ns,
                               .least = at_floor ? FLOOR_LEAST : 0.0,
                               .scale_count = scale_count};
    input.seen = watch->learnt ? SEEN_OFTEN : 0;
    tail_choose(&input, &watch->tail);
    watch->trigger.high = watch->tail.threshold;
    watch->trigger.low = watch->tail.release;
}

void watch_finish_learning(struct watch *watch, uint64_t next, int64_t time_ns)
{
    size_t kept = baseline_finish_learning(&watch->baseline);
    choose_threshold(watch, 1, kept);
    watch->learnt = true;
    watch_note_scale(watch, time_ns);
    watch_begin_quiet(watch, next, time_ns);
}

void watch_refit(struct watch *watch)
{
    struct baseline_memory *memory = &watch->baseline.memory;
    if (memory->blocks - memory->fitted_at >= REFIT_BLOCKS) {
        memory->fitted_at = memory->blocks;
        size_t kept = memory->blocks < BASELINE_BLOCKS_MAX ? memory->blocks : BASELINE_BLOCKS_MAX;
        size_t merged = kept / REFIT_MAXIMA;
        choose_threshold(watch, merged > 0 ? merged : 1, REFIT_SCALE_COUNT);
        watch_set_threshold(watch);
    }
}
