/* The whole node on one loop: built in one order, taken down in the other.
 * Must never hold logic of its own beyond who calls whom. Called by node/main.c. */
#ifndef ROOMWAKE_NODE_NODE_H
#define ROOMWAKE_NODE_NODE_H

#include "node/config.h"

/* The machine was suspended: nothing of before holds, neither the clock's line nor what the drivers
 * had open. What was sampled is on disk; the caller starts the program anew. */
#define NODE_SLEPT 1

/* Runs until SIGINT or SIGTERM, then ends in order within two seconds and returns 0; a second
 * signal ends the process at once. NODE_SLEPT: see there; *slept_ns is for how long. -1 where it
 * could not be started. slept_before_ns: the machine slept for so long right before, or 0. */
int node_run(const struct node_config *config, const struct clock_source *clock,
             int64_t slept_before_ns, int64_t *slept_ns, struct error *error);

#endif
