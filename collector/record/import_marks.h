/* The marks of a night's findings (`export --format json`), for a recording that has none itself.
 * Must never be included outside import*.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_IMPORT_MARKS_H
#define ROOMWAKE_COLLECTOR_RECORD_IMPORT_MARKS_H

#include "collector/model/mark.h"
#include "common/error.h"
#include "common/site.h"

/* On success *marks is the caller's: free. */
int import_marks_read(const char *path, const struct site *site, struct mark **marks, size_t *count,
                      struct error *error);

#endif
