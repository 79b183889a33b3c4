/* One node's quantity: samples in, disturbances out. Baseline, threshold, trigger, onset, in order.
 * Pure: must never read a clock, do I/O or keep a global; no malloc once made. The outcome depends
 * on the samples and their times alone, not on how they are cut into blocks. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_DETECTOR_H
#define ROOMWAKE_COLLECTOR_DETECT_DETECTOR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/sink.h"
#include "common/block.h"
#include "common/error.h"

/* Copied at making. */
struct detector_settings {
    double mains_hz;
    double baseline_s;            /* the quiet spell, from the first sample on */
    double false_onsets_per_hour; /* per node and quantity */
    /* When the recording began, where known: a switch that tells only changes counts its quiet
     * spell from here. 0: from its first sample. */
    int64_t start_ns;
    bool goes_on; /* it takes over from another at start_ns: a switch need tell nothing to begin */
    bool by_hand; /* the quiet spell goes on until detector_end_quiet; baseline_s is how long it is
                     taken to be where that came before the first sample */
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
/* The quiet spell, if it still goes on then, is over with the first sample from time_ns on that
 * leaves enough before it. */
void detector_end_quiet(struct detector *detector, int64_t time_ns);
/* No more samples: closes what is open. */
void detector_finish(struct detector *detector);

/* Every disturbance with an onset before this has been told through `opened`. */
int64_t detector_horizon_ns(const struct detector *detector);
/* Whether the quiet spell is over and a threshold is set. */
bool detector_learnt(const struct detector *detector);

#endif
