/* Each channel's first sample after a failure ends the hole that it left.
 * Must never lose the reason to the failures that follow. Called by sampler.c. */
#include "node/outage.h"

#include <stdio.h>
#include <string.h>

void outage_init(struct outage *outage)
{
    memset(outage, 0, sizeof *outage);
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        outage->last_ns[i] = INT64_MIN;
    }
}

void outage_begin(struct outage *outage, int64_t told_ns, const char *why)
{
    bool worked = !outage->why[0];
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        worked = worked || outage->back[i];
    }
    if (worked) {
        outage->since_ns = told_ns;
        snprintf(outage->why, sizeof outage->why, "%s", why);
        memset(outage->back, 0, sizeof outage->back);
    }
}

bool outage_end(struct outage *outage, size_t channel, bool on_change, int64_t first_ns,
                int64_t last_ns, int64_t *from_ns)
{
    bool ends = outage->why[0] && !outage->back[channel];
    int64_t before_ns = outage->last_ns[channel];
    outage->last_ns[channel] = last_ns;
    if (!ends) {
        return false;
    }
    outage->back[channel] = true;
    *from_ns = on_change && outage->since_ns > before_ns ? outage->since_ns : before_ns;
    return before_ns != INT64_MIN && *from_ns < first_ns;
}
