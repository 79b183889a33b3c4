/* The walk test on a terminal: looks until it is over, prints each tick.
 * Must never claim an order before every node of the way has answered. Used by cmd_walk.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_WALK_RUN_H
#define ROOMWAKE_COLLECTOR_RECORD_WALK_RUN_H

#include <stdbool.h>

#include "collector/record/station_child.h"
#include "collector/record/walk_watch.h"
#include "common/error.h"

struct walk_settings {
    struct walk_wishes wishes;
    struct station_child_settings station;
};

/* Prints as it goes; *good: all seen, in the order walked. */
int walk_run(const struct walk_settings *settings, bool *good, struct error *error);

#endif
