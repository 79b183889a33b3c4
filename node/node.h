/* The whole node on one loop: built in one order, taken down in the other.
 * Must never hold logic of its own beyond who calls whom. Called by node/main.c. */
#ifndef ROOMWAKE_NODE_NODE_H
#define ROOMWAKE_NODE_NODE_H

#include "node/config.h"

/* Runs until SIGINT or SIGTERM, then ends in order within two seconds and returns 0; a second
 * signal ends the process at once. -1 where it could not be started. */
int node_run(const struct node_config *config, const struct clock_source *clock,
             struct error *error);

#endif
