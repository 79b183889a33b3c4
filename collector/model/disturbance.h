/* A disturbance: one quantity at one node leaves its baseline and returns. Plain caller-owned
 * value. Must never hold a pointer: it is copied, queued and stored as it is. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_DISTURBANCE_H
#define ROOMWAKE_COLLECTOR_MODEL_DISTURBANCE_H

#include <stdbool.h>
#include <stdint.h>

#include "common/ident.h"
#include "common/units.h"

/* A disturbance is told when samples up to its onset + this have been seen; a coincidence counts on
 * it. (Sparse channels take two periods.) */
#define DISTURBANCE_SETTLE_NS INT64_C(250000000)
#define DISTURBANCE_REPEAT_NS INT64_C(1200000000)

/* Which part of the signal left its baseline. */
enum band {
    BAND_REST,  /* all but the mains frequency */
    BAND_MAINS, /* the amplitude at the mains frequency */
};

/* Times are site time, ns. Values are deviations from the baseline in the channel's unit: for a
 * three-axis quantity the length of the deviation vector, else signed. Scores are deviations in
 * units of the baseline's robust scale. */
struct disturbance {
    int64_t id; /* given by the correlator in order of (onset, node, quantity, band); 0 before */
    uint32_t node;
    char quantity_text[IDENT_SIZE]; /* "magnetic" ... also for quantities outside the list */
    enum quantity quantity;
    enum band band;
    char unit[UNIT_SIZE];
    int64_t onset_ns;
    int64_t pick_sd_ns;     /* of finding the onset in the samples */
    int64_t sampling_sd_ns; /* sample interval / sqrt(12) */
    int64_t clock_sd_ns;    /* the node's clock at the onset */
    int64_t end_ns;         /* 0 while it lasts */
    int64_t closed_ns;      /* data time at which the end was certain; 0 while it lasts */
    int64_t peak_ns;
    double peak_value;
    double peak_score;
    double
        baseline_value; /* location at the onset; for three axes the length of the static vector */
    double baseline_scale; /* robust sigma */
    double threshold;      /* in units of baseline_scale */
    /* Measured over a fixed stretch after the onset (DISTURBANCE_SETTLE_NS), so that a live night
     * and its re-analysis see the same: */
    double settle_peak_score;
    double settle_step; /* level at the end of the stretch minus before, in the unit */
    double
        mains_before; /* mains amplitude before and after, in the unit; NaN where not measurable */
    double mains_after;
    /* Deviation at the peak along the node's own axes, in the unit, with their signs; all 0 where
     * it was not measured (fewer than three axes, or the mains band). */
    double peak_axes[3];
    /* Rate at which it repeats itself, as a radio's frames do, at its alias for this rate of
     * samples; never a multiple of the mains. 0: it doesn't, or can't be told (mains band, slow
     * channels). Over DISTURBANCE_SETTLE_NS when told, over DISTURBANCE_REPEAT_NS when closed. */
    double repeat_hz;
    /* So far when told, of the whole when closed; to a twelfth. For a switch all 0: */
    double rise_s; /* from the onset until nine tenths of the peak were reached */
    double half_s; /* time spent at or above half of the peak */
    /* How the deviation's vector moved, as rise_s so far or of the whole: root mean square in the
     * direction in which it moved most and in the next one, in units of baseline_scale. across is 0
     * where it is less than across_least, what noise leaves to be seen; all 0 but for three axes. */
    double along_score;
    double across_score;
    double across_least;
    /* How alike neighbouring samples were, the same way: 1 for what changes slowly, 0 for noise, -1
     * for what alternates from sample to sample. */
    double alike;
    /* Level afterwards beside the baseline before, in the unit; for three axes the length of the
     * vector. Over the time that showed its end; 0 until it is closed. */
    double left_value;
    double left_axes[3]; /* the same along the node's own axes, as peak_axes */
    /* Ticking: how it follows the onsets of the same band before it. */
    double previous_s; /* since the last one; 0: there was none */
    double
        tick_s; /* mean spacing of `ticks` onsets that came evenly, this one the last; 0: no row */
    int64_t ticks;   /* at least 3, or 0 */
    bool one_sample; /* above the threshold for a single sample only */
    bool clipped;
    bool calibrated; /* all its channels were: else its values compare only with themselves */
    bool returned; /* it came back by itself; false: cut short by a gap or the end */
};

/* sqrt of the sum of squares of the three parts. */
int64_t disturbance_onset_sd_ns(const struct disturbance *disturbance);

#endif
