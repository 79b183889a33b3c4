/* The preflight: waits for all nodes, looks at half a minute of each, says go or no go.
 * Must never say go for a node that was not heard. Used by cmd_preflight.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_PREFLIGHT_RUN_H
#define ROOMWAKE_COLLECTOR_RECORD_PREFLIGHT_RUN_H

#include <stdbool.h>

#include "collector/record/station_child.h"
#include "common/error.h"
#include "common/site.h"

struct preflight_settings {
    const struct site *site;
    struct station_child_settings station;
    double night_s; /* how long the night will be */
    double wait_s;  /* at most so long for the nodes */
    double look_s;  /* how much of each is looked at */
};

/* Prints its report; *go: nothing stops the night. */
int preflight_run(const struct preflight_settings *settings, bool *go, struct error *error);

#endif
