/* What the commands say on the terminal about findings and seals, the same words in each.
 * Must never decide anything. Used by cmd_*.c and session's owner. */
#ifndef ROOMWAKE_COLLECTOR_SCREEN_H
#define ROOMWAKE_COLLECTOR_SCREEN_H

#include <stdint.h>

#include "collector/record/findings.h"

/* Prints each finding as one line: "finding  ..." and "ALERT    ...". */
struct findings_hooks screen_hooks(void);
/* "3 disturbances, 1 coincidence, 1 alert". */
void screen_print_counts(const struct findings_counts *counts);
/* Text from a night, its control characters as spaces. */
void screen_print_clean(const char *text);
/* A key, or a root, as hex under a heading; a root once more in groups that can be read aloud. */
void screen_print_key(const char *head, const uint8_t key[32]);
void screen_print_root(const char *head, const uint8_t root[32]);

#endif
