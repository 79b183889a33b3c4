/* One band's run over samples: the quiet spell, settling after a gap, quiet, up, ending.
 * Must never tell a disturbance before its features are measured. Called by field.
 */
#include "collector/detect/watch.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Spread of a new level above which it is louder noise, not just a new level. */
#define LOUDER 2.0
#define LOUDER_PARTS (10u * STAY_PARTS)
/* In the quiet spell a new level is taken sooner: so many steady parts, so far off, or so much
 * calmer. */
#define UNSTEADY_PART 0.02
#define LEARN_PARTS 5u
#define LEVEL_APART 2.0
#define CALMER 0.5
#define LEARN_SAMPLES_MIN 20u
#define BANK_RELEASE 0.8  /* of a window's limit: down to there it keeps up what is open */
#define KEEP_UP_LEVELS 2u /* the slower ones don't prolong what a sample raised */

static void choose_series(struct watch *watch)
{
    const struct history *history = watch->settings.history;
    bool mains = watch->settings.name == BAND_MAINS;
    watch->dims = mains ? 1 : history->axes;
    watch->pick_dims = history->axes;
    watch->leak = mains ? history->leak : NULL;
    for (size_t a = 0; a < history->axes; a++) {
        watch->series[a] = mains ? history->amplitude : history->rest[a];
        watch->pick_series[a] = mains ? history->past[a] : history->rest[a];
    }
}

int watch_init(struct watch *watch, const struct watch_settings *settings)
{
    memset(watch, 0, sizeof *watch);
    watch->settings = *settings;
    choose_series(watch);
    const struct pace *pace = &settings->pace;
    struct baseline_tuning tuning = {.dims = watch->dims,
                                     .location_samples = pace->location_samples,
                                     .trend = pace->trend,
                                     .batch = pace->batch,
                                     .scale_samples = pace->scale_samples,
                                     .block_samples = pace->block_samples};
    watch->trigger = (struct trigger){.state = TRIGGER_LEARNING, .hold_ns = pace->hold_ns};
    watch->first_ns = INT64_MIN;
    watch->until_s = settings->baseline_s;
    watch->has_bank = settings->bank && !pace->slow;
    bank_init(&watch->bank, watch->dims);
    watch->bank_due = BANK_STATS;
    bool complete = baseline_init(&watch->baseline, &tuning) == 0;
    for (size_t a = 0; a <= VECTOR_AXES_MAX; a++) {
        watch->scratch[a] = malloc(settings->history->size * sizeof(double));
        complete = complete && watch->scratch[a];
    }
    if (!complete) {
        watch_free(watch);
        return -1;
    }
    return 0;
}

void watch_free(struct watch *watch)
{
    baseline_free(&watch->baseline);
    for (size_t a = 0; a <= VECTOR_AXES_MAX; a++) {
        free(watch->scratch[a]);
        watch->scratch[a] = NULL;
    }
}

static void read_sample(const struct watch *watch, uint64_t i, double sample[])
{
    size_t slot = i & watch->settings.history->mask;
    for (size_t a = 0; a < watch->dims; a++) {
        sample[a] = watch->series[a][slot];
    }
}

/* The last `count` samples up to i, copied out of the ring. */
static void copy_recent(struct watch *watch, uint64_t i, uint64_t count)
{
    size_t mask = watch->settings.history->mask;
    for (size_t a = 0; a < watch->dims; a++) {
        for (uint64_t k = 0; k < count; k++) {
            watch->scratch[a][k] = watch->series[a][(i + 1 - count + k) & mask];
        }
    }
}

/* Enough samples since the run began: where the level is. */
static void look_at_level(struct watch *watch, uint64_t i)
{
    uint64_t count = watch->start_count;
    const double *axes[VECTOR_AXES_MAX] = {watch->scratch[0], watch->scratch[1], watch->scratch[2]};
    double *scratch = watch->scratch[VECTOR_AXES_MAX];
    copy_recent(watch, i, count);
    if (watch->trigger.state == TRIGGER_LEARNING) {
        baseline_start(&watch->baseline, axes, (size_t)count, scratch);
        return;
    }
    double middle[VECTOR_AXES_MAX] = {0.0};
    double apart[VECTOR_AXES_MAX] = {0.0};
    vector_middle(axes, watch->dims, (size_t)count, scratch, middle);
    for (size_t a = 0; a < watch->dims; a++) {
        apart[a] = middle[a] - watch->baseline.location[a];
    }
    /* Over a short gap a level that still fits is the better one: it has seen more samples. */
    if (watch->stale || vector_length(apart, watch->dims) > watch->baseline.scale) {
        baseline_move(&watch->baseline, middle);
    }
    watch_begin_quiet(watch, i + 1,
                      watch->settings.history->times[i & watch->settings.history->mask]);
}

/* A level that came in the quiet spell and holds is where the rest of it is measured from; so is a
 * calm after an unquiet first guess. */
static void relevel(struct watch *watch, uint64_t i, int64_t time_ns)
{
    struct baseline *baseline = &watch->baseline;
    double sample[VECTOR_AXES_MAX];
    read_sample(watch, i, sample);
    if (!stay_take(&watch->stay, time_ns, sample, baseline->scale) ||
        watch->stay.parts < LEARN_PARTS) {
        return;
    }
    double level[VECTOR_AXES_MAX] = {0.0};
    double apart[VECTOR_AXES_MAX] = {0.0};
    double spread = stay_level(&watch->stay, level);
    for (size_t a = 0; a < watch->dims; a++) {
        apart[a] = level[a] - baseline->location[a];
    }
    bool calmer = spread < CALMER * baseline->scale;
    if (calmer || vector_length(apart, watch->dims) > LEVEL_APART * baseline->scale) {
        baseline_move(baseline, level);
        bank_restart(&watch->bank);
        if (calmer) {
            baseline_set_scale(baseline, spread);
        }
    }
    stay_restart(&watch->stay, watch->dims, watch->settings.pace.stay_samples);
}

/* No supply is steadier than this part of its amplitude, however steady it was in a short quiet
 * spell: neighbours' loads move the voltage (our choice, well inside the +-10 % of ten-minute means
 * that EN 50160 allows). */
static void keep_floor(struct watch *watch)
{
    double floor_scale = *watch->settings.scale_floor;
    if (watch->settings.name == BAND_MAINS) {
        floor_scale = fmax(floor_scale, UNSTEADY_PART * fabs(watch->baseline.location[0]));
    }
    watch->baseline.scale_floor = floor_scale;
}

static void learn(struct watch *watch, uint64_t i, int64_t time_ns)
{
    if (watch->start_count < watch->settings.pace.start_samples) {
        watch->start_count++;
        if (watch->start_count == watch->settings.pace.start_samples) {
            look_at_level(watch, i);
            stay_restart(&watch->stay, watch->dims, watch->settings.pace.stay_samples);
        }
        return;
    }
    keep_floor(watch);
    relevel(watch, i, time_ns);
    double deviation[VECTOR_AXES_MAX] = {0.0};
    double squared = watch_deviation(watch, i, watch->dims, deviation);
    baseline_learn(&watch->baseline, deviation, squared);
    turn_take(&watch->turn, deviation);
    if (watch->has_bank) {
        (void)bank_take(&watch->bank, deviation, squared, watch->dims);
    }
    if (watch->baseline.count == 0) {
        watch_end_batch(watch);
    }
    if (watch->baseline.memory.count >= LEARN_SAMPLES_MIN && watch_has_learnt(watch, time_ns)) {
        watch_finish_learning(watch, i + 1, time_ns);
    }
}

static void settle(struct watch *watch, uint64_t i)
{
    watch->start_count++;
    if (watch->start_count == watch->settings.pace.start_samples) {
        look_at_level(watch, i);
    }
}

/* A new level has held for long: it is the baseline from now on. */
static void consider_staying(struct watch *watch, uint64_t i, int64_t time_ns)
{
    double sample[VECTOR_AXES_MAX];
    read_sample(watch, i, sample);
    double tolerance = watch->trigger.low * watch->baseline.scale;
    if (!stay_take(&watch->stay, time_ns, sample, tolerance) || watch->stay.parts < STAY_PARTS) {
        return;
    }
    double level[VECTOR_AXES_MAX] = {0.0};
    double spread = stay_level(&watch->stay, level);
    bool by_energy = watch->window > 0 && bank_is_energy(watch->bank.stat);
    bool louder = by_energy || spread > LOUDER * watch->baseline.scale;
    if (louder && watch->stay.parts < LOUDER_PARTS) {
        return;
    }
    watch_close(watch, watch->stay.start_ns, time_ns, false);
    baseline_move(&watch->baseline, level);
    keep_floor(watch);
    /* A supply that carries more wavers by more. */
    bool mains = watch->settings.name == BAND_MAINS;
    baseline_set_scale(&watch->baseline,
                       mains ? fmax(watch->baseline.scale, spread) : watch->baseline.scale);
    if (louder) {
        baseline_set_scale(&watch->baseline, spread);
        watch->noise_rose = true;
        watch_note_scale(watch, time_ns);
    }
    watch_begin_quiet(watch, i + 1, time_ns);
}

/* What is weak goes on while a window is above; a loud sample begins the windows anew, so that they
 * don't prolong it. */
static void keep_up_by_bank(struct watch *watch, uint64_t i, const double deviation[], double score)
{
    struct bank *bank = &watch->bank;
    const struct history *history = watch->settings.history;
    if (score >= watch->trigger.low) {
        bank_restart(bank);
        return;
    }
    double length = score * watch->baseline.scale;
    (void)bank_take(bank, deviation, length * length, watch->dims);
    if ((bank->count & 1) == 0 && bank->ratio >= BANK_RELEASE) {
        int64_t stride_ns = (bank_stride(bank->stat) + 1) * watch->settings.pace.period_ns;
        int64_t hold_ns = watch->trigger.hold_ns;
        watch->trigger.hold_ns = stride_ns > hold_ns ? stride_ns : hold_ns;
        trigger_hold_on(&watch->trigger, history->times[i & history->mask]);
    }
}

static enum trigger_event step_trigger(struct watch *watch, uint64_t i, int64_t time_ns,
                                       const double deviation[], double score)
{
    if (watch->bank_raises) {
        watch->bank_raises = false;
        trigger_raise(&watch->trigger, time_ns);
        return TRIGGER_RAISED;
    }
    if (watch->has_bank && watch->trigger.state != TRIGGER_QUIET) {
        keep_up_by_bank(watch, i, deviation, score);
    }
    return trigger_step(&watch->trigger, time_ns, score);
}

static void take_sample(struct watch *watch, uint64_t i, int64_t time_ns)
{
    double deviation[VECTOR_AXES_MAX] = {0.0};
    double length = sqrt(watch_deviation(watch, i, watch->dims, deviation));
    if (watch->leak) {
        length = fmax(0.0, length - watch->leak[i & watch->settings.history->mask]);
    }
    double score = length / watch->baseline.scale;
    uint32_t window = watch->bank_raises ? bank_width(watch->bank.stat) : 0;
    enum trigger_event event = step_trigger(watch, i, time_ns, deviation, score);
    if (event == TRIGGER_RAISED) {
        watch->bank.level_count = window > 0 ? bank_level_of(watch->bank.stat) + 1 : KEEP_UP_LEVELS;
        stay_restart(&watch->stay, watch->dims, watch->settings.pace.stay_samples);
        watch_raise(watch, i, window);
    }
    if (watch->stage == WATCH_IDLE) {
        return;
    }
    watch_track(watch, i, score, deviation);
    watch_advance(watch, i);
    if (event == TRIGGER_RETURNED && watch_is_back(watch, i)) {
        watch_close(watch, watch->trigger.last_above_ns, time_ns, true);
        watch_begin_quiet(watch, i + 1, time_ns);
        return;
    }
    consider_staying(watch, i, time_ns);
}

/* Quiet samples up to the first that is not: only compared and learnt from. */
static inline uint64_t run_quiet(struct watch *watch, uint64_t i, uint64_t to, size_t dims,
                                 bool banked)
{
    for (; i < to; i++) {
        double deviation[VECTOR_AXES_MAX];
        double squared = watch_deviation(watch, i, dims, deviation);
        if (__builtin_expect(squared >= watch->high_squared, 0)) {
            break;
        }
        baseline_take(&watch->baseline, deviation, squared, dims);
        bool above = banked && bank_take(&watch->bank, deviation, squared, dims);
        if (watch->baseline.count == 0) {
            watch_end_batch(watch);
        }
        if (__builtin_expect(above, 0)) {
            watch->bank_raises = true;
            break;
        }
    }
    return i;
}

static uint64_t run_quiet_dims(struct watch *watch, uint64_t i, uint64_t to)
{
    if (!watch->has_bank) {
        return watch->dims == 1 ? run_quiet(watch, i, to, 1, false)
                                : run_quiet(watch, i, to, watch->dims, false);
    }
    if (watch->dims == 1) {
        return run_quiet(watch, i, to, 1, true);
    }
    return watch->dims == 3 ? run_quiet(watch, i, to, 3, true) : run_quiet(watch, i, to, 2, true);
}

void watch_run(struct watch *watch, uint64_t from, uint64_t to)
{
    const struct history *history = watch->settings.history;
    for (uint64_t i = from; i < to; i++) {
        if (watch->trigger.state == TRIGGER_QUIET) {
            i = run_quiet_dims(watch, i, to);
            if (i == to) {
                return;
            }
        }
        int64_t time_ns = history->times[i & history->mask];
        if (watch->first_ns == INT64_MIN) {
            watch->first_ns = time_ns;
        }
        switch (watch->trigger.state) {
        case TRIGGER_LEARNING:
            learn(watch, i, time_ns);
            break;
        case TRIGGER_SETTLING:
            settle(watch, i);
            break;
        case TRIGGER_QUIET:
        case TRIGGER_UP:
        case TRIGGER_ENDING:
            take_sample(watch, i, time_ns);
            break;
        }
    }
}
