/* The night in words, for a terminal: nodes and clocks, gaps, marks, findings with their reasons.
 * Must never say more than the night holds. Used by cmd_review.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REVIEW_H
#define ROOMWAKE_COLLECTOR_EXPORT_REVIEW_H

#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"

/* Of the newest analysis. `out` stays the caller's. */
int review_write(struct night_reader *reader, FILE *out, struct error *error);

#endif
