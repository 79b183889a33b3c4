/* How often each quantity of each node has an onset: what was asked for, or what was seen since
 * its quiet spell if that is more. Must never count the coincidence that is being judged against
 * itself. Called by correlator and judge. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_RATES_H
#define ROOMWAKE_COLLECTOR_CORRELATE_RATES_H

#include <stddef.h>
#include <stdint.h>

#include "collector/model/disturbance.h"
#include "common/error.h"
#include "common/site.h"

/* What is seen is weighed as if the asked rate had been seen for this long before: in the first
 * minutes of a night a handful of onsets says little about its rate. Our choice. */
#define RATES_PRIOR_S 3600.0

struct rates;

int rates_new(const struct site *site, struct rates **rates, struct error *error);
void rates_free(struct rates *rates);

/* The node's quantity counts from from_ns on. Again: no effect. */
int rates_watch(struct rates *rates, uint32_t node, const char *quantity, int64_t from_ns,
                struct error *error);
/* One more onset; where its quantity is not watched yet, it is from here on. */
int rates_count(struct rates *rates, const struct disturbance *disturbance, struct error *error);
/* Each node's rate at now_ns, 1/s, one a node of the site, without `members`. */
void rates_nodes(const struct rates *rates, int64_t now_ns,
                 const struct disturbance *const *members, size_t member_count, double *rates_hz);

#endif
