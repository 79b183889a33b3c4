/* When a driver stood still: since when, why, and which of its channels are back.
 * Must never call a level that is told on change missing while its driver ran. Used by sampler.c.
 */
#ifndef ROOMWAKE_NODE_OUTAGE_H
#define ROOMWAKE_NODE_OUTAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/wire.h"

/* Caller-owned; begin with outage_init. */
struct outage {
    char why[HOLE_REASON_SIZE];         /* of the last one; "": there was none */
    int64_t since_ns;                   /* all samples before were handed over */
    int64_t last_ns[NODE_CHANNELS_MAX]; /* of each channel; INT64_MIN before any */
    bool back[NODE_CHANNELS_MAX];       /* samples came since */
};

void outage_init(struct outage *outage);
/* The driver failed; all before told_ns was handed over. While nothing came since the last failure
 * it is the same outage: what broke it is the reason, not what keeps it from coming back. */
void outage_begin(struct outage *outage, int64_t told_ns, const char *why);
/* Samples of a channel came, from first_ns to last_ns. true: they end an outage, and from *from_ns
 * on there were none. */
bool outage_end(struct outage *outage, size_t channel, bool on_change, int64_t first_ns,
                int64_t last_ns, int64_t *from_ns);

#endif
