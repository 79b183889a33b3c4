/* A raised trigger becomes a disturbance: onset picked, features measured, told, and closed.
 * Must never look at samples before the present run or the last disturbance. Called by watch.
 */
#include "collector/detect/watch.h"

#include <math.h>
#include <string.h>

#include "collector/detect/onset.h"
#include "collector/detect/rise.h"

/* Before the earliest onset that may be picked, so that the run before it has a spread. */
#define PICK_MARGIN 32u
#define PICK_SAMPLES_MIN 8u
#define VARIANCE_FLOOR_PART 0.0025
#define SD_MIN_PERIODS 0.1
/* Mean of the neighbours, squared and in units of its own sigma, above which a spike is not alone.
 */
#define ALONE_MAX 16.0
#define ALONE_SPREADS 3.0
#define RISE_MISFIT_MOST 2.0
/* Samples from before a step on that are looked at, and how far apart equal levels may be. */
#define STEP_SAMPLES 64u
#define STEP_SPREADS 1.5
/* A load switched near the current's zero shows a part of a cycle later. */
#define MAINS_CYCLE_PART 0.125
#define MAINS_CYCLE_NS 2e7
/* A sliding amplitude's weak step: the error of a change point goes by one over the square of the
 * step in units of the noise (Hinkley, Biometrika 57 (1970), 1-17). The factor is what
 * bench_quiet's switched loads show: 0.19 s at a score of 5.5, 0.09 s at 10, 0.04 s at 16. */
#define MAINS_WEAK_NS 6e9
/* A mean level this far towards the lower threshold is not the old one. */
#define BACK_PART 0.5

static const struct history *history_of(const struct watch *watch)
{
    return watch->settings.history;
}

/* The sample so many before i, or the first that may still be looked at with all that follows. */
static uint64_t back_from(const struct watch *watch, uint64_t i, uint64_t samples)
{
    uint64_t kept = history_of(watch)->size / 2;
    uint64_t back = samples < kept ? samples : kept;
    return i - watch->run_start > back ? i - back : watch->run_start;
}

static int64_t time_at(const struct watch *watch, uint64_t i)
{
    return history_of(watch)->times[i & history_of(watch)->mask];
}

static double static_level(const struct watch *watch)
{
    if (watch->settings.name == BAND_MAINS) {
        return watch->baseline.location[0];
    }
    double level[VECTOR_AXES_MAX] = {0.0};
    for (size_t a = 0; a < watch->dims; a++) {
        level[a] = watch->settings.reference[a] + watch->baseline.location[a];
    }
    return watch->dims == 1 ? level[0] : vector_length(level, watch->dims);
}

void watch_raise(struct watch *watch, uint64_t i, uint32_t window)
{
    watch->open = watch->settings.template;
    watch->open.band = watch->settings.name;
    watch->open.baseline_value = static_level(watch);
    watch->open.baseline_scale = watch->baseline.scale;
    watch->open.threshold = watch->trigger.high;
    watch->open.sampling_sd_ns = llround((double)watch->settings.pace.period_ns / sqrt(12.0));
    watch->open.mains_before = NAN;
    watch->open.mains_after = NAN;
    watch->raised = i;
    watch->repeat_measured = false;
    shape_restart(&watch->shape);
    turn_restart(&watch->turn);
    watch->stage = WATCH_PICKING;
    watch->window = window;
    for (uint64_t k = back_from(watch, i, window); k < i; k++) {
        double deviation[VECTOR_AXES_MAX];
        double length = sqrt(watch_deviation(watch, k, watch->dims, deviation));
        watch_track(watch, k, length / watch->baseline.scale, deviation);
    }
}

void watch_track(struct watch *watch, uint64_t i, double score, const double deviation[])
{
    struct disturbance *open = &watch->open;
    if (score > open->peak_score) {
        open->peak_score = score;
        double length = score * watch->baseline.scale;
        open->peak_value = watch->dims == 1 ? copysign(length, deviation[0]) : length;
        open->peak_ns = time_at(watch, i);
        for (size_t a = 0; a < VECTOR_AXES_MAX && watch->dims == VECTOR_AXES_MAX; a++) {
            open->peak_axes[a] = deviation[a];
        }
    }
    shape_take(&watch->shape, time_at(watch, i), score);
    double all[VECTOR_AXES_MAX] = {0.0};
    memcpy(all, deviation, watch->dims * sizeof all[0]);
    turn_take(&watch->turn, all);
    open->clipped |= history_of(watch)->clipped[i & history_of(watch)->mask] != 0;
}

uint64_t watch_index_from(const struct watch *watch, uint64_t upto, int64_t time_ns)
{
    uint64_t i = upto;
    while (i > watch->run_start && upto - i + 2 < history_of(watch)->size &&
           time_at(watch, i - 1) >= time_ns) {
        i--;
    }
    return i;
}

/* Whether the samples around the one that is above are as quiet as ever: neither off to a side nor
 * swinging (chi-squared's mean and spread). */
static bool stands_alone(const struct watch *watch, uint64_t from, uint64_t now)
{
    double mean[VECTOR_AXES_MAX] = {0.0};
    double squares = 0.0;
    uint64_t count = 0;
    for (uint64_t i = from; i <= now; i++) {
        double deviation[VECTOR_AXES_MAX] = {0.0};
        if (i == watch->raised) {
            continue;
        }
        squares += watch_deviation(watch, i, watch->dims, deviation);
        for (size_t a = 0; a < watch->dims; a++) {
            mean[a] += deviation[a];
        }
        count++;
    }
    double length = vector_length(mean, watch->dims) / watch->baseline.scale;
    double freedom = (double)(count * watch->dims);
    double usual = freedom + ALONE_SPREADS * sqrt(2.0 * freedom);
    return length * length <= ALONE_MAX * (double)(count > 0 ? count : 1) &&
           squares <= usual * watch->baseline.scale * watch->baseline.scale;
}

static int64_t sd_ns(const struct watch *watch, double sd_samples)
{
    double period = (double)watch->settings.pace.period_ns;
    double least = SD_MIN_PERIODS * period;
    if (watch->settings.name == BAND_MAINS) {
        least = fmax(least, MAINS_CYCLE_PART * MAINS_CYCLE_NS);
    }
    return llround(fmax(sd_samples * period, least));
}

static void pick_at_trigger(struct watch *watch)
{
    watch->onset = watch->raised;
    watch->open.pick_sd_ns = sd_ns(watch, 0.0);
    if (watch->settings.pace.slow && watch->raised >= watch->run_start + LEVEL_BACK) {
        double part[VECTOR_AXES_MAX];
        double at = sqrt(watch_deviation(watch, watch->raised, watch->dims, part));
        double one = sqrt(fmax(watch_deviation(watch, watch->raised - 1, watch->dims, part),
                               watch_deviation(watch, watch->raised - 2, watch->dims, part)));
        double back = sqrt(watch_deviation(watch, watch->raised - LEVEL_BACK, watch->dims, part));
        watch->open.pick_sd_ns = level_onset_sd_ns(watch->settings.pace.period_ns, at, one, back);
    }
}

/* Copies samples [from, now] of what shows the onset and picks; false where it can't. */
static bool pick_by_curve(struct watch *watch, uint64_t from, uint64_t low, uint64_t now)
{
    size_t mask = history_of(watch)->mask;
    size_t n = (size_t)(now - from + 1);
    for (size_t a = 0; a < watch->pick_dims; a++) {
        for (size_t k = 0; k < n; k++) {
            watch->scratch[a][k] = watch->pick_series[a][(from + k) & mask];
        }
    }
    const double *x[VECTOR_AXES_MAX] = {watch->scratch[0], watch->scratch[1], watch->scratch[2]};
    double floor_scale = watch->baseline.scale * watch->baseline.scale;
    struct onset_pick pick;
    if (!onset_find(x, watch->pick_dims, n, (size_t)(low - from), (size_t)(watch->raised - from),
                    VARIANCE_FLOOR_PART * floor_scale, watch->scratch[VECTOR_AXES_MAX], &pick)) {
        return false;
    }
    watch->onset = from + pick.index;
    watch->open.pick_sd_ns = sd_ns(watch, pick.sd_samples);
    return true;
}

/* Samples from `from` on, towards the side of the one over the threshold, in units of the noise. */
static void project(const struct watch *watch, uint64_t from, size_t n, double *values)
{
    double part[VECTOR_AXES_MAX];
    double way[VECTOR_AXES_MAX];
    double unit =
        sqrt(watch_deviation(watch, watch->raised, watch->dims, way)) * watch->baseline.scale;
    for (size_t k = 0; k < n; k++) {
        double along = 0.0;
        (void)watch_deviation(watch, from + k, watch->dims, part);
        for (size_t a = 0; a < watch->dims; a++) {
            along += part[a] * way[a];
        }
        values[k] = along / unit;
    }
}

/* Whether the sample before is as quiet as ever and the first two are at the level of those that
 * follow. */
static bool came_at_once(const struct watch *watch, uint64_t low, uint64_t now)
{
    double values[STEP_SAMPLES];
    size_t n = (size_t)(now - watch->onset + 2);
    n = n < STEP_SAMPLES ? n : STEP_SAMPLES;
    if (watch->onset == low || n < 4) {
        return false;
    }
    project(watch, watch->onset - 1, n, values);
    double later = 0.0;
    for (size_t k = 3; k < n; k++) {
        later += values[k] / (double)(n - 3);
    }
    double spread = sqrt(1.0 / 2.0 + 1.0 / (double)(n - 3));
    return values[0] <= STEP_SPREADS &&
           (values[1] + values[2]) / 2.0 >= later - STEP_SPREADS * spread;
}

/* What rises slowly hides its beginning in the noise: then it is neither a sample nor as sure as
 * the change of level that the curve sees. What comes at once stays at the sample that shows it. */
static void refine_by_rise(struct watch *watch, uint64_t low, uint64_t earliest, uint64_t now)
{
    struct rise rise;
    double period = (double)watch->settings.pace.period_ns;
    size_t n = (size_t)(watch->raised - low + 1);
    if (came_at_once(watch, low, now)) {
        return;
    }
    project(watch, low, n, watch->scratch[0]);
    if (!rise_find(watch->scratch[0], n, &rise) || rise.misfit > RISE_MISFIT_MOST) {
        return;
    }
    int64_t onset_ns = time_at(watch, watch->raised) - llround((rise.back - 0.5) * period);
    /* A beginning hidden in the noise lies before the change of level, never after: what swings
     * looks like a short rise. */
    if (onset_ns > time_at(watch, watch->onset) + watch->settings.pace.period_ns) {
        return;
    }
    int64_t least_ns = time_at(watch, earliest);
    watch->open.onset_ns = onset_ns > least_ns ? onset_ns : least_ns;
    /* The part that is the interval's is told apart. */
    double pick = sqrt(fmax(0.0, rise.sd * rise.sd - 1.0 / 12.0));
    watch->open.pick_sd_ns = sd_ns(watch, pick);
}

/* Nothing is picked further back than was promised: of what is weaker and longer than that, the
 * onset is uncertain by as much. */
static void keep_promise(struct watch *watch, uint64_t earliest)
{
    if (watch->window == 0) {
        return;
    }
    double window_ns = (double)watch->window * (double)watch->settings.pace.period_ns;
    if (watch->onset < earliest) {
        watch->onset = earliest;
        watch->open.pick_sd_ns = llround(fmax((double)watch->open.pick_sd_ns, window_ns));
    }
}

static void pick_onset(struct watch *watch, uint64_t now)
{
    int64_t raised_ns = time_at(watch, watch->raised);
    int64_t lookback_ns = watch->settings.pace.lookback_ns;
    uint64_t earliest = watch_index_from(watch, watch->raised, raised_ns - lookback_ns);
    uint64_t reached = back_from(watch, watch->raised, watch->window + watch->window / 2);
    uint64_t low = reached < earliest ? reached : earliest;
    uint64_t from = back_from(watch, low, PICK_MARGIN);
    bool enough = !watch->settings.pace.slow && now - from + 1 >= PICK_SAMPLES_MIN &&
                  now - from + 1 < history_of(watch)->size;
    if (!enough || !pick_by_curve(watch, from, low, now)) {
        pick_at_trigger(watch);
    }
    /* A single sample has no run after it: its onset is that sample. */
    bool alone = watch->settings.name == BAND_REST && watch->trigger.above_low == 1 &&
                 stands_alone(watch, watch->onset, now);
    if (alone) {
        pick_at_trigger(watch);
    }
    keep_promise(watch, earliest);
    watch->open.onset_ns = time_at(watch, watch->onset);
    if (enough && !alone && watch->settings.name == BAND_REST && watch->raised > low) {
        refine_by_rise(watch, low, earliest, now);
    }
    watch->stage = WATCH_SETTLING;
}

static void widen_weak_step(struct watch *watch)
{
    double score = fabs(watch->open.settle_peak_score);
    if (watch->settings.name == BAND_MAINS && score >= 1.0) {
        double least_ns = MAINS_WEAK_NS / (score * score);
        watch->open.pick_sd_ns = llround(fmax((double)watch->open.pick_sd_ns, least_ns));
    }
}

/* Features over [onset, last], told for good. */
static void settle_and_tell(struct watch *watch, uint64_t last)
{
    watch_measure_settled(watch, last);
    widen_weak_step(watch);
    watch_count_ticks(watch);
    outbox_open(watch->settings.outbox, &watch->open);
    watch->stage = WATCH_TOLD;
}

void watch_advance(struct watch *watch, uint64_t i)
{
    int64_t time_ns = time_at(watch, i);
    if (watch->stage == WATCH_PICKING &&
        time_ns >= time_at(watch, watch->raised) + watch->settings.pace.post_ns) {
        pick_onset(watch, i);
    }
    if (watch->stage == WATCH_SETTLING &&
        time_ns >= watch->open.onset_ns + watch->settings.pace.settle_ns) {
        settle_and_tell(watch, i);
    }
    if (watch->stage == WATCH_TOLD && !watch->repeat_measured &&
        time_ns >= watch->open.onset_ns + DISTURBANCE_REPEAT_NS) {
        watch_measure_repeat(watch, i);
    }
}

bool watch_is_back(struct watch *watch, uint64_t i)
{
    struct trigger *trigger = &watch->trigger;
    uint64_t from = watch_index_from(watch, i, trigger->last_above_ns + 1);
    double mean[VECTOR_AXES_MAX] = {0.0};
    for (uint64_t k = from; k <= i; k++) {
        double deviation[VECTOR_AXES_MAX];
        watch_deviation(watch, k, watch->dims, deviation);
        for (size_t a = 0; a < watch->dims; a++) {
            mean[a] += deviation[a] / (double)(i - from + 1);
        }
    }
    if (vector_length(mean, watch->dims) <= BACK_PART * trigger->low * watch->baseline.scale) {
        return true;
    }
    trigger_hold_on(trigger, time_at(watch, i));
    return false;
}

void watch_close(struct watch *watch, int64_t end_ns, int64_t closed_ns, bool returned)
{
    uint64_t last = history_of(watch)->end - 1;
    if (watch->stage == WATCH_PICKING) {
        pick_onset(watch, last);
    }
    if (watch->stage == WATCH_SETTLING) {
        settle_and_tell(watch, last);
    }
    watch->open.end_ns = end_ns > watch->open.onset_ns ? end_ns : watch->open.onset_ns;
    watch->open.closed_ns = closed_ns;
    watch->open.returned = returned;
    watch_measure_end(watch, watch->open.end_ns);
    baseline_spoil_block(&watch->baseline);
    bank_drop_block(&watch->bank);
    outbox_close(watch->settings.outbox, &watch->open);
    watch->stage = WATCH_IDLE;
}
