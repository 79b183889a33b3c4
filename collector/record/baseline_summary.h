/* What the quiet spell taught, and what chance alone brings tonight by that.
 * Must never tell of an earlier spell where a later one was begun. Used by cmd_baseline.c,
 * cmd_ask.c and acts_quiet.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_BASELINE_SUMMARY_H
#define ROOMWAKE_COLLECTOR_RECORD_BASELINE_SUMMARY_H

#include <stdio.h>

#include "common/error.h"
#include "common/message.h"

/* A night that is being recorded, or one that is over. */
int baseline_summary(const char *night_path, FILE *out, struct error *error);
/* What an order, taken, means for the team, in a sentence. */
const char *baseline_say(const struct message_baseline *order);
/* How many quantities are still learning, or were never heard. */
int baseline_count_learning(const char *night_path, size_t *learning, struct error *error);

#endif
