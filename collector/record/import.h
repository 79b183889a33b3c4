/* A recording made elsewhere, through the same pipeline as a live night, into a night file.
 * Must never leave half a night behind: on failure there is no file. Used by cmd_import.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_IMPORT_H
#define ROOMWAKE_COLLECTOR_RECORD_IMPORT_H

#include <stdint.h>

#include "collector/record/findings.h"
#include "common/error.h"
#include "common/site.h"

struct import_result {
    uint64_t samples;
    int64_t start_ns;
    int64_t end_ns;
    struct findings_counts findings;
};

/* `site_text` is the site file as it was, stored in the night. */
int import_csv(const struct site *site, const char *site_text, const char *csv_path,
               const char *night_path, const struct findings_hooks *hooks,
               struct import_result *result, struct error *error);

#endif
