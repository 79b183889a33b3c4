/* A recording's own time, as `roomwake align` found it and wrote it beside the recording.
 * Must never give a time for a night that the recording was not lined up with. Used by webvtt.c and
 * cmd_export.c; written by record/align.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_OWN_TIME_H
#define ROOMWAKE_COLLECTOR_EXPORT_OWN_TIME_H

#include <stdint.h>

#include "common/error.h"
#include "common/ident.h"

/* site = start_ns + own * (1 + drift_ppm / 1e6). */
struct own_time {
    char night[IDENT_SIZE * 2]; /* the id of the night that it was lined up with */
    int64_t start_ns;           /* site time of the recording's first sample */
    double drift_ppm;
    int64_t length_ns; /* own time */
};

/* Reads "RECORDING.align.json". ERROR_NOT_FOUND says how it is made. */
int own_time_read(const char *recording, struct own_time *own, struct error *error);
/* Nanoseconds since the recording's first sample, by its own clock. */
int64_t own_time_ns(const struct own_time *own, int64_t site_ns);

#endif
