/* How often each quantity of each node has an onset: what was seen since its quiet spell, and what
 * was asked for where that says little yet. Must never count the coincidence that is being judged
 * against itself. Called by correlator, judge and the causes. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_RATES_H
#define ROOMWAKE_COLLECTOR_CORRELATE_RATES_H

#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/accidental.h"
#include "collector/correlate/away.h"
#include "collector/correlate/recent.h"
#include "collector/model/disturbance.h"
#include "common/error.h"
#include "common/site.h"

/* What is seen of one quantity is weighed as if a usual rate had been seen for this long before: in
 * the first minutes of a night a handful of onsets says little. The usual rate is the asked one, as
 * many times as all that is watched together has it. Our choice. */
#define RATES_PRIOR_S 3600.0
/* The same for the whole site's onsets against what was asked for. */
#define RATES_SITE_PRIOR_S 600.0
/* Onsets allowed beyond those seen. The chance of a pair goes with the square of a rate, a chain's
 * with its cube: of n onsets seen, (n + 1) (n + 2) and (n + 1) (n + 2) (n + 3) are what makes their
 * inverse true on average. */
#define RATES_ALLOWED 3.0
/* So many of a quantity's last onsets are remembered each by itself. */
#define RATES_LAST 32

/* A site is taken for no livelier than this many times what was asked for: one real event in the
 * first minute disturbs everything. Beyond it each quantity has to show it by itself. */
#define RATES_LIVELIEST 4.0

struct rates;

/* How evenly onsets like one follow on each other: the same node, quantity, band and direction. */
struct rhythm {
    size_t onsets;   /* remembered ones up to this one, this one too */
    double period_s; /* mean interval; 0 for fewer than two onsets */
    double spread;   /* standard deviation of the intervals over their mean; INFINITY for fewer than
                      * three onsets */
};

/* `away` says which onsets and what time don't count; it must outlive the rates. */
int rates_new(const struct site *site, const struct away *away, struct rates **rates,
              struct error *error);
void rates_free(struct rates *rates);

/* The node's quantity counts from from_ns on. Again: no effect. */
int rates_watch(struct rates *rates, uint32_t node, const char *quantity, int64_t from_ns,
                struct error *error);
/* One more onset; where its quantity is not watched yet, it is from here on. */
int rates_count(struct rates *rates, const struct disturbance *disturbance, struct error *error);
/* `away` has changed. */
void rates_recount(struct rates *rates);
/* Whether it belongs to a coincidence under a mark: then it counts in no rate. Known by its id. */
void rates_set_marked(struct rates *rates, const struct disturbance *disturbance, bool marked);
/* It has ended: same id, final fields. */
void rates_ended(struct rates *rates, const struct disturbance *disturbance);
/* All that was counted lately. */
const struct recent *rates_recent(const struct rates *rates);
struct rhythm rates_rhythm(const struct rates *rates, const struct disturbance *disturbance);
/* Remembered onsets of its node and quantity within this long before it, it too. */
size_t rates_lately(const struct rates *rates, const struct disturbance *disturbance,
                    int64_t span_ns);
/* At most this many streams a node: one a trait. */
#define RATES_TRAITS 4
/* The rates at now_ns without `members`, one stream for each node and trait that has any, in order
 * of node and trait; room for RATES_TRAITS a node. Returns how many. */
size_t rates_streams(const struct rates *rates, int64_t now_ns,
                     const struct disturbance *const *members, size_t member_count,
                     struct accidental_stream *streams);

#endif
