/* The state message: clock, battery, spool, and what fails, in words.
 * Must never touch what it looks at. Called by node.c at its cadence. */
#ifndef ROOMWAKE_NODE_HEALTH_H
#define ROOMWAKE_NODE_HEALTH_H

#include "common/message.h"
#include "node/battery.h"
#include "node/sampler.h"
#include "node/spool.h"
#include "node/timekeeper.h"

struct health_sources {
    uint64_t boot;
    const struct timekeeper *timekeeper;
    const struct spool *spool;
    const struct sampler *sampler;
    const struct battery *battery;
    bool sensors;     /* tell each sensor's figures: they cost bytes, so not with every state */
    int64_t since_ns; /* node time from which the spool has taken frames */
};

void health_fill(const struct health_sources *sources, int64_t now_ns, struct message_state *state);

#endif
