/* Edges of a switch: rising is an onset, falling an end unless it rises again soon.
 * Must never make two disturbances of one person's moving about. Called by detector.
 */
#include "collector/detect/motion.h"

#include <math.h>
#include <string.h>

/* Motion sensors answer late, by up to a second. Common practice, no source. */
#define PICK_SD_NS INT64_C(300000000)
#define SAME_WITHIN_NS INT64_C(3000000000)

void motion_init(struct motion *motion, const struct motion_settings *settings)
{
    memset(motion, 0, sizeof *motion);
    motion->settings = *settings;
    motion->period_ns = settings->period_ps / 1000;
    motion->settle_ns = DISTURBANCE_SETTLE_NS;
    if (motion->settle_ns < 2 * motion->period_ns) {
        motion->settle_ns = 2 * motion->period_ns;
    }
}

static void start(struct motion *motion, int64_t time_ns)
{
    int64_t start_ns = motion->settings.start_ns != 0 ? motion->settings.start_ns : time_ns;
    motion->started = true;
    motion->quiet_from_ns = start_ns;
    motion->quiet_until_ns = start_ns + (int64_t)(motion->settings.baseline_s * 1e9);
    motion->last_ns = time_ns;
}

/* When it begins to count, as far as is known: INT64_MAX while the quiet spell has no end. */
static int64_t counts_from_ns(const struct motion *motion)
{
    const struct spell *spell = motion->settings.spell;
    switch (spell_ask(spell, motion->quiet_from_ns, INT64_MAX)) {
    case SPELL_OVER:
        return spell->by_hand || spell->end_ns < motion->quiet_until_ns ? spell->end_ns
                                                                        : motion->quiet_until_ns;
    case SPELL_GOES_ON:
        return INT64_MAX;
    case SPELL_BY_LENGTH:
        break;
    }
    return motion->quiet_until_ns;
}

static void tell(struct motion *motion)
{
    if (!motion->told) {
        outbox_open(motion->settings.outbox, &motion->disturbance);
        motion->told = true;
    }
}

static void close_open(struct motion *motion, int64_t end_ns, int64_t closed_ns, bool returned)
{
    tell(motion);
    motion->disturbance.end_ns = end_ns;
    motion->disturbance.closed_ns = closed_ns;
    motion->disturbance.returned = returned;
    outbox_close(motion->settings.outbox, &motion->disturbance);
    motion->open = false;
}

/* What is certain once all samples before `until_ns` are known. */
static void settle_until(struct motion *motion, int64_t until_ns)
{
    if (motion->started && !motion->learnt && until_ns >= counts_from_ns(motion)) {
        motion->learnt = true;
        motion->quiet_until_ns = counts_from_ns(motion);
        outbox_notice(motion->settings.outbox, motion->quiet_until_ns,
                      "a switch: each time it closes counts, from now on");
    }
    if (motion->open && until_ns >= motion->disturbance.onset_ns + motion->settle_ns) {
        tell(motion);
    }
    if (motion->open && motion->fall_ns != 0 && until_ns >= motion->fall_ns + SAME_WITHIN_NS) {
        close_open(motion, motion->fall_ns, motion->fall_ns + SAME_WITHIN_NS, true);
    }
}

static void rise(struct motion *motion, int64_t time_ns)
{
    if (motion->open) {
        motion->fall_ns = 0;
        return;
    }
    if (!motion->learnt) {
        return;
    }
    struct disturbance *disturbance = &motion->disturbance;
    *disturbance = motion->settings.template;
    disturbance->band = BAND_REST;
    disturbance->onset_ns = time_ns;
    disturbance->pick_sd_ns = PICK_SD_NS;
    disturbance->sampling_sd_ns = llround((double)motion->period_ns / sqrt(12.0));
    disturbance->peak_ns = time_ns;
    disturbance->peak_value = 1.0;
    disturbance->peak_score = 1.0;
    disturbance->baseline_scale = 1.0;
    disturbance->threshold = 0.5;
    disturbance->settle_peak_score = 1.0;
    disturbance->settle_step = 1.0;
    disturbance->mains_before = NAN;
    disturbance->mains_after = NAN;
    motion->open = true;
    motion->told = false;
    motion->fall_ns = 0;
}

/* Samples are missing, or time went back: what the switch did meanwhile is not known. */
static bool gap_before(const struct motion *motion, int64_t time_ns)
{
    int64_t step_ns = time_ns - motion->last_ns;
    return step_ns < 0 || (motion->period_ns > 0 && step_ns > motion->period_ns * 3 / 2);
}

static void cut(struct motion *motion)
{
    if (motion->open) {
        int64_t end_ns = motion->fall_ns != 0 ? motion->fall_ns : motion->last_ns;
        close_open(motion, end_ns, motion->last_ns + motion->period_ns * 3 / 2, false);
    }
}

static void take(struct motion *motion, int64_t time_ns, bool high)
{
    if (!motion->started) {
        start(motion, time_ns);
    } else if (gap_before(motion, time_ns)) {
        cut(motion);
        motion->high = high;
    }
    settle_until(motion, time_ns);
    if (high && !motion->high) {
        rise(motion, time_ns);
    } else if (!high && motion->high && motion->open) {
        motion->fall_ns = time_ns;
    }
    motion->high = high;
    motion->last_ns = time_ns;
}

void motion_push(struct motion *motion, const int64_t *times, const double *values, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        take(motion, times[i], values[i] >= 0.5);
    }
}

void motion_advance(struct motion *motion, int64_t until_ns)
{
    if (!motion->started && motion->settings.goes_on && until_ns >= motion->settings.start_ns) {
        start(motion, motion->settings.start_ns);
    }
    if (motion->started && motion->period_ns > 0 && gap_before(motion, until_ns)) {
        cut(motion);
    }
    settle_until(motion, until_ns);
}

void motion_finish(struct motion *motion)
{
    cut(motion);
}

int64_t motion_horizon_ns(const struct motion *motion, int64_t until_ns)
{
    bool waiting = motion->open && !motion->told;
    return waiting ? motion->disturbance.onset_ns : until_ns;
}
