/* Lines a recording's own clock up with the site's: which arrival is which anchor, offset and
 * drift. Must never claim a line that fewer than two anchors carry. Called by record/align. */
#ifndef ROOMWAKE_COLLECTOR_ALIGN_MATCH_H
#define ROOMWAKE_COLLECTOR_ALIGN_MATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/align/finder.h"
#include "common/error.h"

#define MATCH_ANCHORS_MAX 128
#define MATCH_DRIFT_MOST_PPM 1000.0 /* IEC 60958 level II, the widest class of consumer clocks */

struct match_anchor {
    enum finder_kind kind;
    int64_t site_ns; /* when the sound left, by the site's clock */
    /* One sigma. All of it may be common to all anchors (a player's latency, a hand's delay), so
     * more of them don't make the start surer than this. */
    double sd_s;
};

/* site = start_ns + t * (1 + drift_ppm / 1e6), t in the recording's own seconds. */
struct match {
    int64_t start_ns; /* site time of the recording's first sample */
    double drift_ppm; /* positive: the recorder's clock is slow, its second is longer */
    double start_sd_s;
    double drift_sd_ppm;
    double middle_s; /* own time at which start and drift errors are independent */
    double middle_sd_s;
    double residual_s; /* root mean square of what is left over the anchors; 0 for two */
    size_t used;
    size_t anchors; /* of so many that can lie in the recording */
    double first_s; /* own times of the outermost anchors used */
    double last_s;
    bool arrival_of[MATCH_ANCHORS_MAX]; /* which anchors were used */
};

/* `length_s` is the recording's; `guess_ns` its start as its own label (bext) or a person says,
 * INT64_MIN for none: it must hold within a day, and decides between places that fit alike where
 * only one is within five minutes of it. ERROR_STATE with what to do where it can't be lined up. */
int match_find(const struct match_anchor *anchors, size_t anchor_count, const struct finder *finder,
               double length_s, int64_t guess_ns, struct match *match, struct error *error);
/* Site time of an own time, and its uncertainty (one sigma). */
int64_t match_site_ns(const struct match *match, double own_s);
double match_sd_s(const struct match *match, double own_s);
/* The other way. */
double match_own_s(const struct match *match, int64_t site_ns);

#endif
