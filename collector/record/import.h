/* A recording made elsewhere, through the same pipeline as a live night, into a night file.
 * Must never leave half a night behind: on failure there is no file. Used by cmd_import.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_IMPORT_H
#define ROOMWAKE_COLLECTOR_RECORD_IMPORT_H

#include <stdint.h>

#include "collector/ingest/mseed_file.h"
#include "collector/record/findings.h"
#include "common/error.h"
#include "common/site.h"

/* One of csv, senml and mseed is a path, the others NULL. */
struct import_source {
    const char *csv;
    const char *senml;
    const char *mseed;
    const char *marks; /* the findings of the night that it came from: its marks, and what its
                          values were calibrated by; NULL: none */
    const char *const *calibrations; /* files that its values are to be put through, one a node */
    size_t calibration_count;
    const struct mseed_step *steps;
    size_t step_count;
};

struct import_result {
    uint64_t samples;
    int64_t start_ns;
    int64_t end_ns;
    struct findings_counts findings;
};

/* `site_text` is the site file as it was, stored in the night. */
int import_recording(const struct site *site, const char *site_text,
                     const struct import_source *source, const char *night_path,
                     const struct findings_hooks *hooks, struct import_result *result,
                     struct error *error);

#endif
