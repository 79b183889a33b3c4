/* Paces of watching: how fast a baseline follows, how long to hold, for fast and for slow channels
 * (5 samples a second and fewer: temperature, pressure, humidity and other plain levels).
 * Must never depend on samples. Called by field at making, and by watch for a slow onset. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_LEVEL_H
#define ROOMWAKE_COLLECTOR_DETECT_LEVEL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* 5 Hz */
#define LEVEL_PERIOD_NS INT64_C(200000000)

struct pace {
    bool slow;
    int64_t period_ns;
    int64_t lookback_ns; /* how far before the trigger an onset may be picked */
    int64_t post_ns;     /* how much after the trigger the picker is given */
    int64_t settle_ns;   /* features are measured up to here from the onset */
    int64_t hold_ns;
    double location_samples; /* time constants of following */
    bool trend;              /* follows a slope too */
    uint32_t batch;          /* samples between two moves */
    double scale_samples;
    uint32_t start_samples; /* for the first guess and after a gap */
    uint32_t block_samples; /* of the quiet spell's extremes */
    uint32_t stay_samples;  /* of one part of a new level */
    int64_t stale_gap_ns;   /* after a longer gap the old level says nothing */
};

void pace_for(int64_t period_ps, double baseline_s, struct pace *pace);
/* What drifts by itself is followed more closely: hum that the rate of samples folds down to almost
 * nothing, or an amplitude of the mains. */
void pace_follow_closely(struct pace *pace, double follow_s);

/* Uncertainty of a slow onset from deviations (in any one unit, signless) at the trigger, one
 * sample before (the larger of two) and LEVEL_BACK samples before: half the time since the ramp
 * left zero, were it straight.
 */
#define LEVEL_BACK 3u
int64_t level_onset_sd_ns(int64_t period_ns, double at, double one_before, double back);

#endif
