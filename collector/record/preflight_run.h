/* The preflight: waits for all nodes, looks at half a minute of each, says go or no go.
 * Must never say go for a node that was not heard. Used by cmd_preflight.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_PREFLIGHT_RUN_H
#define ROOMWAKE_COLLECTOR_RECORD_PREFLIGHT_RUN_H

#include <stdbool.h>

#include "collector/record/preflight_watch.h"
#include "collector/record/station_child.h"
#include "common/error.h"

struct preflight_settings {
    struct preflight_wishes wishes;
    struct station_child_settings station;
};

/* Prints its report; *go: nothing stops the night. */
int preflight_run(const struct preflight_settings *settings, bool *go, struct error *error);

#endif
