/* The marks of a night in words: each as it stands, and what it said before.
 * Must never leave out what was corrected or withdrawn. Used by cmd_mark.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_LIST_MARKS_H
#define ROOMWAKE_COLLECTOR_RECORD_LIST_MARKS_H

#include <stdio.h>

#include "common/error.h"

int list_marks(const char *night_path, FILE *out, struct error *error);

#endif
