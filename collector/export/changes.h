/* What two analyses of one night say differently, finding by finding, in words.
 * Must never judge which of them is right. Used by review.c and the report. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_CHANGES_H
#define ROOMWAKE_COLLECTOR_EXPORT_CHANGES_H

#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"
#include "common/site.h"

struct changes {
    uint64_t same;   /* findings that say the same, to within what their times moved */
    uint64_t differ; /* another verdict, alert, kind or order */
    uint64_t gone;   /* only the first analysis has them */
    uint64_t fresh;  /* only the second */
    int64_t most_ns; /* by how much the start of one that both have moved */
};

/* Counts them; where `out` is not NULL, writes two lines for each that differs. */
int changes_find(struct night_reader *reader, const struct site *site, int from, int to, FILE *out,
                 struct changes *changes, struct error *error);

#endif
