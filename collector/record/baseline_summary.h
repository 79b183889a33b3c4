/* What the quiet spell taught, and what chance alone brings tonight by that.
 * Must never tell of an earlier spell where a later one was begun. Used by cmd_baseline.c
 * and cmd_ask.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_BASELINE_SUMMARY_H
#define ROOMWAKE_COLLECTOR_RECORD_BASELINE_SUMMARY_H

#include <stdio.h>

#include "common/error.h"

/* A night that is being recorded, or one that is over. */
int baseline_summary(const char *night_path, FILE *out, struct error *error);
/* How many quantities are still learning, or were never heard. */
int baseline_count_learning(const char *night_path, size_t *learning, struct error *error);

#endif
