/* A site file that is being drawn: read as it is, checked, and kept whole or not at all.
 * Must never keep a text that is no valid site. Used by page.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_PAGE_PLAN_H
#define ROOMWAKE_COLLECTOR_RECORD_PAGE_PLAN_H

#include <stdbool.h>
#include <stddef.h>

#include "common/error.h"
#include "common/text.h"

/* `context` is the file's path. A file that is not there yet reads as "null". */
int page_plan_load(void *context, struct text *out, struct error *error);
/* The error names the field at fault by its path. */
int page_plan_save(void *context, const char *bytes, size_t length, bool check_only,
                   struct error *error);

#endif
