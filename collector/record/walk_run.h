/* The walk test, run: a short quiet spell, then ticks as the nodes see the team.
 * Must never claim an order before every node of the way has answered. Used by cmd_walk.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_WALK_RUN_H
#define ROOMWAKE_COLLECTOR_RECORD_WALK_RUN_H

#include <stdbool.h>
#include <stddef.h>

#include "collector/record/station_child.h"
#include "common/error.h"
#include "common/site.h"

struct walk_settings {
    const struct site *site;
    struct station_child_settings station;
    const size_t *rooms; /* the way, indices in the site */
    size_t room_count;
    double quiet_s; /* 0: what has been learnt is used */
    double limit_s; /* then the walk is taken for over */
};

/* Prints as it goes; *good: all seen, in the order walked. */
int walk_run(const struct walk_settings *settings, bool *good, struct error *error);

#endif
