/* One node's quantity: samples in, disturbances out. Baseline, threshold, trigger, onset, in order.
 * Pure: must never read a clock, do I/O or keep a global; no malloc once made. The outcome depends
 * on the samples and their times alone, not on how they are cut into blocks. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_DETECTOR_H
#define ROOMWAKE_COLLECTOR_DETECT_DETECTOR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/disturbance.h"
#include "common/block.h"
#include "common/error.h"

/* A disturbance is told when samples up to onset + this have been seen. */
#define DETECT_SETTLE_NS INT64_C(250000000)
/* An onset is never picked further back than this before the sample that raised the trigger. */
#define DETECT_LOOKBACK_NS INT64_C(500000000)

/* Copied at making. */
struct detector_settings {
    double mains_hz;
    double baseline_s;            /* the quiet spell, from the first sample on */
    double false_onsets_per_hour; /* per node and quantity */
    /* When the recording began, where known: a switch that tells only changes counts its quiet
     * spell from here. 0: from its first sample. */
    int64_t start_ns;
};

/* Called from within detector_push and detector_advance, in order of onset for each detector. */
struct detector_sink {
    void *context;
    /* Settled: onset, features and the peak so far; end_ns = 0 unless it has returned already. */
    void (*opened)(void *context, const struct disturbance *disturbance);
    /* Returned to the baseline, or cut short by a gap or the end: the same onset, all fields final.
     */
    void (*closed)(void *context, const struct disturbance *disturbance);
    /* Once when the quiet spell is over, and again whenever what it says changes in kind; may be
     * NULL. `text` in words: "noise 15.2 nT, threshold 5.9 sigma, one false onset in 2 h". */
    void (*noticed)(void *context, int64_t time_ns, const char *text);
};

struct detector;

/* A group is one quantity at one node: one to three axes of equal rate, or one channel that tells
 * only changes. `channels` are the node's; indices[] which of them, in order x, y, z. */
int detector_new(const struct detector_settings *settings, uint32_t node,
                 const struct channel *channels, const uint16_t *indices, size_t axis_count,
                 const struct detector_sink *sink, struct detector **detector, struct error *error);
void detector_free(struct detector *detector);

/* A block (site time) of one of the group's channels. Axes may arrive in any order and cut
 * differently; samples of several axes count together when their times agree within half a period.
 */
void detector_push(struct detector *detector, const struct block *block);
/* The node's own clock uncertainty (1 sigma) from time_ns on. */
void detector_set_clock(struct detector *detector, int64_t time_ns, int64_t clock_sd_ns);
/* All samples before until_ns have been pushed. */
void detector_advance(struct detector *detector, int64_t until_ns);
/* No more samples: closes what is open. */
void detector_finish(struct detector *detector);

/* Every disturbance with an onset before this has been told through `opened`. */
int64_t detector_horizon_ns(const struct detector *detector);
/* Whether the quiet spell is over and a threshold is set. */
bool detector_learnt(const struct detector *detector);

#endif
