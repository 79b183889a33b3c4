/* Takes a node into a site: a join code becomes (or changes) the node's config file.
 * Must never touch what the code doesn't tell: sensors and spool stay as they are. Called by
 * main.c. */
#ifndef ROOMWAKE_NODE_JOIN_H
#define ROOMWAKE_NODE_JOIN_H

#include "common/error.h"

/* A config that is there keeps its other fields; a new one gets NODE_JOIN_SPOOL and no driver yet.
 */
#define NODE_JOIN_SPOOL "/var/lib/roomwake-node/spool"

/* Says on standard output what was done and what is still to do. */
int node_join(const char *code, const char *path, struct error *error);

#endif
