/* Finds chirps and claps in a stream of sound: when each arrived, by the recording's own clock.
 * Must never keep more than a piece of the recording. Called by record/align. */
#ifndef ROOMWAKE_COLLECTOR_ALIGN_FINDER_H
#define ROOMWAKE_COLLECTOR_ALIGN_FINDER_H

#include <stddef.h>

#include "common/error.h"

/* The strongest of each kind are kept. */
#define FINDER_KEPT 256

enum finder_kind { FINDER_CHIRP, FINDER_CLAP, FINDER_KINDS };

struct finder_arrival {
    double time_s;   /* since the recording's first sample, by its nominal rate */
    double sd_s;     /* of finding it, one sigma */
    double strength; /* above the noise about it, as a ratio of amplitudes */
};

struct finder;

/* A chirp is found by a matched filter over the sweep's analytic form (Turin 1960, IRE Trans. Inf.
 * Theory 6:311), by overlapping transforms, at about 12 kHz after a low-pass; of its echoes the
 * first that is at least half as strong counts. A clap by its rise out of the tenth of a second
 * before. */
int finder_new(double rate_hz, struct finder **finder, struct error *error);
void finder_free(struct finder *finder);
void finder_push(struct finder *finder, const float *samples, size_t count);
/* After the last push; then the arrivals stand in order of time. They are the finder's. */
void finder_finish(struct finder *finder);
const struct finder_arrival *finder_arrivals(const struct finder *finder, enum finder_kind kind,
                                             size_t *count);

#endif
