/* The recorder of a site on this machine: the one that runs, or one of our own as a child process.
 * Must never end a recorder that it did not start. Used by preflight and walk. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_STATION_CHILD_H
#define ROOMWAKE_COLLECTOR_RECORD_STATION_CHILD_H

#include <stdbool.h>
#include <stdint.h>
#include <sys/types.h>

#include "collector/record/running.h"
#include "common/error.h"

/* For one of our own: the options of `roomwake record`; NULL for its defaults. */
struct station_child_settings {
    const char *site_id;
    const char *site_path;
    const char *night_path; /* NULL: a name is made, in the working folder */
    const char *broker_url;
    const char *listen;
    const char *time;
};

struct station_child {
    struct running running;
    pid_t child; /* 0: it ran already */
};

/* Finds it or starts one and waits until it records; what it prints goes nowhere. */
int station_child_begin(const struct station_child_settings *settings,
                        struct station_child *recorder, struct error *error);
/* Ends a child in order; its night stays. */
void station_child_end(struct station_child *recorder);

#endif
