/* What the two passes over a recording share. Private to recording.c and recording_run.c.
 * Must never be seen outside collector/ingest. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_RECORDING_INSIDE_H
#define ROOMWAKE_COLLECTOR_INGEST_RECORDING_INSIDE_H

#include "collector/ingest/recording.h"

struct recording {
    char *name; /* the path */
    const struct site *site;
    struct recording_source source;
    struct recording_node *nodes; /* one of site->node_count */
    int64_t first_ns;
    int64_t last_ns;
    uint64_t samples;
};

/* The clock's value in ns. */
int recording_clock_ns(const struct recording *recording, const struct recording_sample *sample,
                       int64_t *clock_sd_ns, struct error *error);

#endif
