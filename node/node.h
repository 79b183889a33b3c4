/* The whole node on one loop: built in one order, taken down in the other.
 * Must never hold logic of its own beyond who calls whom. Called by node/main.c. */
#ifndef ROOMWAKE_NODE_NODE_H
#define ROOMWAKE_NODE_NODE_H

#include "node/anew.h"
#include "node/config.h"

/* Another boot has to follow, with word of what this one knew: the machine was suspended, and
 * neither the clock's line nor what the drivers had open holds; or a sensor came that was missing
 * at the start, and brings channels. What was sampled is on disk; the caller starts the program
 * anew. */
#define NODE_ANEW 1

/* Runs until SIGINT or SIGTERM, then ends in order within two seconds and returns 0; a second
 * signal ends the process at once. NODE_ANEW: see there; *next is for anew_start. -1 where it could
 * not be started. */
int node_run(const struct node_config *config, const struct clock_source *clock,
             const struct anew *before, struct anew *next, struct error *error);

#endif
