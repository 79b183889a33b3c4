/* An evenly sampled group: complete samples in, mains taken apart, both bands run.
 * Must never see a sample twice or out of order. Called by detector. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_FIELD_H
#define ROOMWAKE_COLLECTOR_DETECT_FIELD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/watch.h"
#include "common/error.h"
#include "collector/detect/sink.h"
#include "collector/detect/edge.h"
#include "collector/detect/history.h"
#include "collector/detect/mains.h"
#include "collector/detect/outbox.h"
#include "collector/detect/rail.h"
#include "collector/detect/spell.h"

/* Samples between two looks at what the bands hold for usual; counted from the first sample on, so
 * that the outcome does not depend on how blocks are cut. */
#define FIELD_BATCH 16u
#define FIELD_RATE_MAX_HZ 20000.0

struct field_settings {
    size_t axes;
    int64_t period_ps;
    enum quantity quantity;
    double mains_hz;
    double baseline_s;
    const struct spell *spell; /* must outlive it */
    double onsets_per_hour;
    double step; /* the power of ten that its values are written to, as live so imported: the
                    resolution where the samples don't show one */
    struct disturbance template;
    struct outbox *outbox;
};

struct field {
    struct field_settings settings;
    struct pace pace;
    int64_t gap_ns; /* a longer step than this is a gap */
    bool started;
    bool running; /* a run of samples is open */
    double reference[VECTOR_AXES_MAX];
    double scale_floor[2]; /* by band */
    double quantum;        /* smallest difference seen early in the quiet spell; 0: none yet */
    uint64_t samples_learnt;
    int64_t learn_until_ns;
    int64_t run_ns;  /* of the first sample of the present run */
    int64_t last_ns; /* of the samples given */
    int64_t done_ns; /* of the samples run through the bands */
    uint64_t samples;
    uint64_t gaps;
    bool gaps_told;
    bool learnt_told;
    struct rail rails[VECTOR_AXES_MAX];
    bool has_mains;
    struct edge edge; /* where it has not */
    struct mains mains;
    struct mains_centre centre;
    uint64_t batch_end;
    uint64_t run_end; /* history index up to which the bands have been run */
    struct history history;
    struct watch watches[2];
    size_t band_count;
};

int field_init(struct field *field, const struct field_settings *settings, struct error *error);
void field_free(struct field *field);

/* n samples with strictly rising or backward times: each is checked against the one before. */
void field_push(struct field *field, const int64_t *times, const double *const values[], size_t n);
/* No sample before until_ns is missing: a gap that reaches so far is one. */
void field_advance(struct field *field, int64_t until_ns);
void field_finish(struct field *field);

/* No onset before this can still come from samples up to the last one given. */
int64_t field_horizon_ns(const struct field *field, int64_t until_ns);
bool field_learnt(const struct field *field);

#endif
