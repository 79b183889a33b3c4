/* A band's threshold: chosen at the end of the quiet spell, and again as the night goes on.
 * Must never learn from a disturbance. Called by watch.
 */
#include "collector/detect/watch.h"

#include <math.h>

#include "collector/model/quiet.h"

/* After so many blocks the threshold is looked at anew, from about so many maxima: blocks are
 * merged so that a look stays cheap. The scale is kept up by as many samples as it remembers. */
#define REFIT_BLOCKS 240u
#define REFIT_MAXIMA 120u
#define REFIT_SCALE_COUNT 16384u
/* Where maxima are on average what they were, the fit holds; but not for ever. */
#define SAME_MEAN 0.1
#define KEPT_MAX 3u
/* Of the asked rate: for a single sample, and for each kind of window. Together a little more than
 * all of it, since windows that lie within each other fire together (found on white noise and on
 * simulated nights: 0.87 and 1.2 times what is asked). */
#define SAMPLE_PART 0.6
#define WINDOW_PART 0.08
/* So often a level of the bank is looked at within a block of its maxima, at least. */
#define LOOKS_MIN 4u
/* A window's tail that was fitted to the few maxima of a short quiet spell may seem to end soon: no
 * level is below this part of what normal noise needs (twelve spells of 40 s: four false onsets in
 * as many minutes where one in ten hours was asked). */
#define NORMAL_PART 0.95
/* A level seen so often among the maxima kept is no rare one. */
#define SEEN_OFTEN 3u
/* Where the scale is not the noise's own but about the least that is believed. */
#define FLOOR_LEAST 3.8
#define FLOOR_NEAR 1.5

void watch_set_threshold(struct watch *watch)
{
    double high = watch->trigger.high * watch->baseline.scale;
    watch->high_squared = high * high;
    if (watch->has_bank) {
        bank_set_scale(&watch->bank, watch->baseline.scale);
    }
}

void watch_begin_quiet(struct watch *watch, uint64_t next, int64_t time_ns)
{
    watch->floor_ns = time_ns;
    watch->trigger.state = TRIGGER_QUIET;
    watch->run_start = next;
    watch->trigger.hold_ns = watch->settings.pace.hold_ns;
    watch->bank_raises = false;
    watch->bank.level_count = BANK_LEVELS;
    bank_restart(&watch->bank);
    watch_set_threshold(watch);
}

void watch_note_scale(struct watch *watch, int64_t time_ns)
{
    watch->learnt_ns = time_ns;
    watch->learnt_scale = watch->baseline.scale;
}

/* What a tail is to be fitted to; `part` of the asked rate is this statistic's. */
static struct tail_input input_for(const struct watch *watch, size_t merged, double part,
                                   size_t scale_count)
{
    const struct pace *pace = &watch->settings.pace;
    double block_samples = (double)merged * (double)watch->baseline.tuning.block_samples;
    double block_s = block_samples * (double)pace->period_ns * 1e-9;
    return (struct tail_input){.block_samples = block_samples,
                               .dims = watch->dims,
                               .smooth = watch->settings.name == BAND_MAINS,
                               .onsets_per_block =
                                   part * watch->settings.onsets_per_hour * block_s / 3600.0,
                               .hold_samples = (double)pace->hold_ns / (double)pace->period_ns,
                               .seen = watch->learnt ? SEEN_OFTEN : 0,
                               .scale_count = scale_count};
}

/* What noise without any tail of its own would need; taken without a look at the maxima. */
static double normal_level(const struct tail_input *input)
{
    struct tail_input unseen = *input;
    struct tail_choice choice;
    unseen.blocks = 0;
    tail_choose(&unseen, &choice);
    return choice.threshold;
}

/* So many blocks make one maximum of a statistic that looks back further than a block. */
static size_t least_joined(const struct watch *watch, unsigned stat)
{
    size_t block_samples = watch->baseline.tuning.block_samples;
    size_t looks = block_samples / bank_stride(stat);
    return looks > 0 ? (LOOKS_MIN + looks - 1) / looks
                     : LOOKS_MIN * bank_stride(stat) / block_samples;
}

/* What looks further back than the maxima can show the tail of is left alone until they do. */
static double bank_level(const struct watch *watch, unsigned stat)
{
    double maxima[EXTREMES_MAX];
    size_t least = least_joined(watch, stat);
    size_t joined = watch->bank_merged > least ? watch->bank_merged : least;
    struct tail_input input = input_for(watch, joined, WINDOW_PART, REFIT_SCALE_COUNT);
    struct tail_choice choice;
    input.maxima = maxima;
    input.blocks = extremes_merge(&watch->bank.extremes[stat], joined, maxima);
    input.block_samples /= bank_stride(stat);
    input.dims = bank_is_energy(stat) ? 1 : watch->dims;
    if (least > 1 && input.blocks < TAIL_BLOCKS_MIN) {
        return INFINITY;
    }
    tail_choose(&input, &choice);
    return fmax(choice.threshold, NORMAL_PART * normal_level(&input));
}

/* One statistic's level a block: all at once, and of all nodes whose quiet spells end together,
 * would keep the loop for a tenth of a second. Until its turn comes a level is what it was. */
static void choose_next_of_bank(struct watch *watch)
{
    if (watch->bank_due < BANK_STATS) {
        watch->bank.high[watch->bank_due] = bank_level(watch, watch->bank_due);
        watch->bank_due++;
    }
}

static void choose_bank_anew(struct watch *watch, size_t merged)
{
    watch->bank_due = 0;
    watch->bank_merged = merged;
}

/* Thresholds from the maxima so far. */
static void choose_threshold(struct watch *watch, size_t merged, size_t scale_count)
{
    struct baseline *baseline = &watch->baseline;
    double maxima[EXTREMES_MAX];
    bool at_floor = baseline->scale <= FLOOR_NEAR * baseline->scale_floor;
    double part = watch->has_bank ? SAMPLE_PART : 1.0;
    struct tail_input input = input_for(watch, merged, part, scale_count);
    input.maxima = maxima;
    input.blocks = extremes_merge(&baseline->memory.extremes, merged, maxima);
    input.least = at_floor ? FLOOR_LEAST : 0.0;
    tail_choose(&input, &watch->tail);
    watch->trigger.high = watch->tail.threshold;
    watch->trigger.low = watch->tail.release;
    if (watch->has_bank) {
        choose_bank_anew(watch, merged);
    }
}

/* Of the newest blocks without disturbances. */
static double recent_mean(const struct extremes *extremes)
{
    size_t kept = extremes_kept(extremes);
    size_t count = 0;
    double sum = 0.0;
    kept = kept < REFIT_BLOCKS ? kept : REFIT_BLOCKS;
    for (size_t i = extremes->blocks - kept; i < extremes->blocks; i++) {
        double maximum = extremes->maxima[i % EXTREMES_MAX];
        count += isfinite(maximum) ? 1 : 0;
        sum += isfinite(maximum) ? maximum : 0.0;
    }
    return count > 0 ? sum / (double)count : 0.0;
}

/* How much of the spell so far was disturbed. */
static double disturbed_s(const struct watch *watch)
{
    const struct extremes *extremes = &watch->baseline.memory.extremes;
    double limit = SPELL_DISTURBED_SIGMA * baseline_learnt_scale(&watch->baseline);
    size_t kept = extremes_kept(extremes);
    size_t disturbed = 0;
    for (size_t i = extremes->blocks - kept; i < extremes->blocks; i++) {
        disturbed += extremes->maxima[i % EXTREMES_MAX] > limit;
    }
    return (double)disturbed * (double)watch->baseline.tuning.block_samples *
           (double)watch->settings.pace.period_ns * 1e-9;
}

bool watch_has_learnt(struct watch *watch, int64_t time_ns)
{
    double seen_s = (double)(time_ns - watch->first_ns) * 1e-9;
    enum spell_says says = spell_ask(watch->settings.spell, watch->first_ns, time_ns);
    if (says != SPELL_BY_LENGTH || seen_s < watch->until_s) {
        return says == SPELL_OVER;
    }
    double baseline_s = watch->settings.baseline_s;
    watch->until_s = fmin(baseline_s + disturbed_s(watch), QUIET_LONGEST * baseline_s);
    watch->longer_s = fmax(watch->longer_s, watch->until_s - baseline_s);
    return seen_s >= watch->until_s;
}

void watch_finish_learning(struct watch *watch, uint64_t next, int64_t time_ns)
{
    size_t kept = baseline_finish_learning(&watch->baseline);
    watch->noise_slow = turn_slow_part(&watch->turn, watch->baseline.scale);
    if (watch->has_bank) {
        bank_arm(&watch->bank, watch->baseline.scale);
        for (unsigned stat = 0; stat < BANK_STATS; stat++) {
            watch->bank.high[stat] = INFINITY;
        }
    }
    choose_threshold(watch, 1, kept);
    watch->looked_at = watch->baseline.memory.extremes.blocks;
    watch->fitted_mean = recent_mean(&watch->baseline.memory.extremes);
    watch->learnt = true;
    watch_note_scale(watch, time_ns);
    watch_begin_quiet(watch, next, time_ns);
}

static void refit(struct watch *watch)
{
    const struct extremes *extremes = &watch->baseline.memory.extremes;
    if (extremes->blocks - watch->looked_at < REFIT_BLOCKS) {
        return;
    }
    watch->looked_at = extremes->blocks;
    double mean = recent_mean(extremes);
    if (fabs(mean - watch->fitted_mean) < SAME_MEAN && watch->kept_fits < KEPT_MAX) {
        watch->kept_fits++;
        return;
    }
    size_t merged = extremes_kept(extremes) / REFIT_MAXIMA;
    watch->kept_fits = 0;
    watch->fitted_mean = mean;
    choose_threshold(watch, merged > 0 ? merged : 1, REFIT_SCALE_COUNT);
}

void watch_end_batch(struct watch *watch)
{
    if (watch->has_bank && watch->baseline.memory.block_fill == 0) {
        bank_end_block(&watch->bank, watch->baseline.scale);
        choose_next_of_bank(watch);
    }
    if (watch->learnt) {
        refit(watch);
        watch_set_threshold(watch);
    }
}
