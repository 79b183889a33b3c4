/* Where a detector's disturbances go, and how long it looks before and after an onset.
 * Must never hold code. Used by every part of the detector and by who listens to it. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_SINK_H
#define ROOMWAKE_COLLECTOR_DETECT_SINK_H

#include <stdint.h>

#include "collector/model/disturbance.h"

/* An onset is never picked further back than this before the sample that raised the trigger. */
#define DETECT_LOOKBACK_NS INT64_C(300000000)

/* Called from within detector_push and detector_advance, in order of onset for each detector. */
struct detector_sink {
    void *context;
    /* Settled: onset, features and the peak so far; end_ns = closed_ns = 0. */
    void (*opened)(void *context, const struct disturbance *disturbance);
    /* Returned to the baseline, or cut short by a gap or the end: the same onset, all fields final.
     */
    void (*closed)(void *context, const struct disturbance *disturbance);
    /* Once when the quiet spell is over, and again whenever what it says changes in kind; may be
     * NULL. `text` in words: "noise 15.2 nT, threshold 5.9 sigma, one false onset in 2 h". */
    void (*noticed)(void *context, int64_t time_ns, const char *text);
};

#endif
