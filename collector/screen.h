/* What the commands say on the terminal about findings, the same words in each.
 * Must never decide anything. Used by cmd_*.c and session's owner. */
#ifndef ROOMWAKE_COLLECTOR_SCREEN_H
#define ROOMWAKE_COLLECTOR_SCREEN_H

#include "collector/record/findings.h"

/* Prints each finding as one line: "finding  ..." and "ALERT    ...". */
struct findings_hooks screen_hooks(void);
/* "3 disturbances, 1 coincidence, 1 alert". */
void screen_print_counts(const struct findings_counts *counts);

#endif
