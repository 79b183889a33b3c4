/* The marks of a night's findings (`export --format json`), for a recording that has none itself.
 * Must never be included outside import*.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_IMPORT_MARKS_H
#define ROOMWAKE_COLLECTOR_RECORD_IMPORT_MARKS_H

#include <cjson/cJSON.h>

#include "collector/model/mark.h"
#include "common/error.h"
#include "common/site.h"

/* The findings as a tree; cJSON_Delete. */
int import_findings_read(const char *path, cJSON **findings, struct error *error);
/* On success *marks is the caller's: free. `path` is for errors. */
int import_marks_read(const cJSON *findings, const char *path, const struct site *site,
                      struct mark **marks, size_t *count, struct error *error);

#endif
