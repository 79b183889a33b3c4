/* The numbers that differ between fast and slow channels, and the onset of a slow ramp.
 * Must never depend on samples beyond those handed in. Called by field and watch.
 */
#include "collector/detect/level.h"

#include <math.h>
#include <string.h>

#include "collector/detect/sink.h"
#include "collector/detect/stay.h"

#define SECOND_NS INT64_C(1000000000)
/* Longer than a disturbance, shorter than a drift. */
#define FAST_FOLLOW_S 60.0
#define SLOW_FOLLOW_S 100.0
#define BATCH 64u
#define BATCH_CLOSE 8u
#define SCALE_FOLLOW_S 900.0
/* A new level stays: 30 s; a room's air needs longer to show that it has settled. */
#define FAST_STAY_S 30.0
#define SLOW_STAY_S 180.0
#define HOLD_NS INT64_C(500000000)
#define POST_NS INT64_C(100000000)
#define BLOCKS_WANTED 240.0
#define BLOCK_SAMPLES_MIN 16.0
/* Beyond 50 ms between samples the features need two of them after the onset. */
#define SPARSE_PERIOD_NS INT64_C(50000000)
#define ONSET_SD_MAX_NS 30e9
#define ONSET_SD_MIN_PERIODS 0.3
/* It came all at once where the sample before shows less than this part of it. */
#define SHARP_PART 0.3

static uint32_t whole(double value, double least, double most)
{
    return (uint32_t)fmin(fmax(floor(value), least), most);
}

static uint32_t whole_batches(double samples, uint32_t batch)
{
    return batch * whole(samples / batch, 1.0, 1e7);
}

void pace_for(int64_t period_ps, double baseline_s, struct pace *pace)
{
    memset(pace, 0, sizeof *pace);
    pace->period_ns = period_ps / 1000 > 0 ? period_ps / 1000 : 1;
    int64_t period_ns = pace->period_ns;
    double rate_hz = 1e12 / (double)period_ps;
    pace->slow = period_ns >= LEVEL_PERIOD_NS;
    bool sparse = period_ns > SPARSE_PERIOD_NS;
    pace->lookback_ns = DETECT_LOOKBACK_NS;
    pace->settle_ns = sparse ? 2 * period_ns : DISTURBANCE_SETTLE_NS;
    pace->post_ns = sparse ? period_ns : POST_NS;
    pace->hold_ns = HOLD_NS > 2 * period_ns ? HOLD_NS : 2 * period_ns;
    double follow_s = pace->slow ? SLOW_FOLLOW_S : FAST_FOLLOW_S;
    pace->trend = pace->slow;
    pace->batch = pace->slow ? BATCH_CLOSE : BATCH;
    pace->location_samples = fmax(64.0, follow_s * rate_hz);
    pace->scale_samples = fmax(1024.0, SCALE_FOLLOW_S * rate_hz);
    pace->start_samples = whole(0.5 * rate_hz, 16.0, 1024.0);
    double samples = baseline_s * rate_hz;
    double blocks = fmin(fmax(floor(samples / BLOCK_SAMPLES_MIN), 1.0), BLOCKS_WANTED);
    pace->block_samples = whole_batches(samples / blocks, pace->batch);
    double stay_s = pace->slow ? SLOW_STAY_S : FAST_STAY_S;
    pace->stay_samples = whole(stay_s * rate_hz / STAY_PARTS, 1.0, 1e9);
    pace->stale_gap_ns = (int64_t)follow_s * SECOND_NS;
}

void pace_follow_closely(struct pace *pace, double follow_s)
{
    pace->trend = true;
    pace->batch = BATCH_CLOSE; /* blocks are still whole batches */
    pace->location_samples = fmax(4.0 * BATCH_CLOSE, follow_s * 1e9 / (double)pace->period_ns);
}

int64_t level_onset_sd_ns(int64_t period_ns, double at, double one_before, double back)
{
    double period = (double)period_ns;
    double least = ONSET_SD_MIN_PERIODS * period;
    if (one_before < SHARP_PART * at) {
        return llround(least);
    }
    double slope = (at - back) / LEVEL_BACK;
    double since = slope > 0.0 ? period * at / slope : ONSET_SD_MAX_NS;
    return llround(fmax(fmin(0.5 * since, ONSET_SD_MAX_NS), least));
}
