/* One band of one quantity: baseline, threshold, trigger, onset and features, in that order.
 * Must never tell a disturbance before its features are measured. Called by field, sample by sample
 * in order of time. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_WATCH_H
#define ROOMWAKE_COLLECTOR_DETECT_WATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/bank.h"
#include "collector/detect/baseline.h"
#include "collector/detect/history.h"
#include "collector/detect/level.h"
#include "collector/detect/outbox.h"
#include "collector/detect/shape.h"
#include "collector/detect/spell.h"
#include "collector/detect/stay.h"
#include "collector/detect/tail.h"
#include "collector/detect/trigger.h"
#include "collector/detect/turn.h"
#include "collector/model/disturbance.h"

/* How far what is under way has come. */
enum watch_stage {
    WATCH_IDLE,
    WATCH_PICKING,  /* raised; the onset waits for some samples after it */
    WATCH_SETTLING, /* onset known; features wait for DISTURBANCE_SETTLE_NS */
    WATCH_TOLD,
};

/* Copied at making; the pointers must outlive the band. */
struct watch_settings {
    enum band name;
    const struct history *history;
    struct outbox *outbox;
    struct pace pace;
    double baseline_s;
    const struct spell *spell;
    double onsets_per_hour;
    double mains_hz;
    bool bank;               /* looks for what is weak but lasts, where the channel is fast */
    const double *reference; /* an axis's values in the history are relative to it */
    const double *scale_floor;
    struct disturbance template; /* node, quantity, unit */
};

/* The row of onsets that this one may belong to. */
struct watch_ticks {
    int64_t last_ns;
    double spacing_s;
    int64_t count; /* 0: no onset yet */
};

struct watch {
    struct watch_settings settings;
    size_t dims;
    const double *series[VECTOR_AXES_MAX];      /* what is watched */
    const double *pick_series[VECTOR_AXES_MAX]; /* what shows the onset best */
    size_t pick_dims;
    const double *leak; /* NULL for the rest band */
    struct baseline baseline;
    struct trigger trigger;
    struct tail_choice tail;
    bool has_bank; /* the rest of a fast channel */
    struct bank bank;
    unsigned bank_due;  /* whose level comes at the next block's end; BANK_STATS: none */
    size_t bank_merged; /* from so many blocks' maxima each */
    bool bank_raises;   /* the present sample completes a window that is above */
    uint32_t window;    /* samples of the window that raised what is open; 0: a sample did */
    double fitted_mean; /* of the maxima at the last fit */
    uint32_t kept_fits; /* looks since then at which it still held */
    size_t looked_at;   /* extremes' blocks at the last look */
    bool learnt;
    bool noise_rose;   /* set when a new, louder noise was taken for usual; field clears it */
    int64_t learnt_ns; /* when the scale was last learnt, and what it was */
    double learnt_scale;
    double high_squared;
    int64_t first_ns;   /* of the quiet spell; INT64_MIN before the first sample */
    double until_s;     /* it lasts so long, as far as is known */
    double longer_s;    /* so much longer than was stated, since it was disturbed */
    uint64_t run_start; /* history index: nothing before it is looked at (gap, last disturbance) */
    int64_t floor_ns;   /* no onset is picked at or before this */
    uint64_t start_count;
    bool stale; /* the level before the gap is not to be trusted */
    struct stay stay;
    struct shape shape;
    struct turn turn;  /* of the noise while learning, then of what is open */
    double noise_slow; /* turn.h */
    struct watch_ticks ticks;
    bool repeat_measured; /* over as long as it will be */
    enum watch_stage stage;
    struct disturbance open;
    uint64_t raised; /* history indices */
    uint64_t onset;
    double *scratch[VECTOR_AXES_MAX + 1]; /* history-sized, owned */
};

/* -1 where there is no memory. */
int watch_init(struct watch *watch, const struct watch_settings *settings);
void watch_free(struct watch *watch);

/* Samples [from, to) of the history. */
void watch_run(struct watch *watch, uint64_t from, uint64_t to);
/* watch_gap.c. Only samples whose noise is not the usual one come before the run ends. */
void watch_run_out(struct watch *watch);
/* The run of samples ends at history->end: what is open is closed. `gap_ns` is how long until the
 * next sample, 0 at the end of everything. */
void watch_cut(struct watch *watch, int64_t closed_ns);
void watch_resume(struct watch *watch, int64_t gap_ns);

/* No onset before this can still come, given that samples up to now_ns have been run. */
int64_t watch_horizon_ns(const struct watch *watch, int64_t now_ns);

/* Squared length of sample i's deviation from the baseline, the parts in `deviation`. */
static inline double watch_deviation(const struct watch *watch, uint64_t i, size_t dims,
                                     double deviation[])
{
    size_t slot = i & watch->settings.history->mask;
    double squared = 0.0;
    for (size_t a = 0; a < dims; a++) {
        deviation[a] = watch->series[a][slot] - watch->baseline.location[a];
        squared += deviation[a] * deviation[a];
    }
    return squared;
}

/* watch_threshold.c: whether the quiet spell is over with the sample at time_ns. */
bool watch_has_learnt(struct watch *watch, int64_t time_ns);
/* From the sample after `time_ns` on it may be raised; no onset is picked before
 * that. */
void watch_begin_quiet(struct watch *watch, uint64_t next, int64_t time_ns);
void watch_finish_learning(struct watch *watch, uint64_t next, int64_t time_ns);
void watch_set_threshold(struct watch *watch);
/* A batch of the baseline is over: bounds follow its scale, and the night's noise where enough
 * blocks came since the last look. */
void watch_end_batch(struct watch *watch);
void watch_note_scale(struct watch *watch, int64_t time_ns);

/* watch_event.c: what becomes of a raised trigger. */
/* `window`: samples of the window that ends at i and raised it; 0: sample i did. */
void watch_raise(struct watch *watch, uint64_t i, uint32_t window);
void watch_track(struct watch *watch, uint64_t i, double score, const double deviation[]);
void watch_advance(struct watch *watch, uint64_t i);
void watch_close(struct watch *watch, int64_t end_ns, int64_t closed_ns, bool returned);
/* The first sample up to `upto` not before `time_ns` that may still be looked at. */
uint64_t watch_index_from(const struct watch *watch, uint64_t upto, int64_t time_ns);

/* Whether the level since it was last above is the old one; if not, it goes on. */
bool watch_is_back(struct watch *watch, uint64_t i);

/* watch_measure.c: its features. `last` is the newest sample that may be looked at. */
void watch_measure_settled(struct watch *watch, uint64_t last);
void watch_measure_repeat(struct watch *watch, uint64_t last);
void watch_measure_end(struct watch *watch, int64_t end_ns);
void watch_count_ticks(struct watch *watch);

#endif
