/* Makes a night that has its end one plain file: the log beside it folded in and used no more.
 * Must never change a row, nor wait longer than it is told. Used by the writer's end and by
 * record/session_close.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_NIGHT_FOLD_H
#define ROOMWAKE_COLLECTOR_NIGHT_NIGHT_FOLD_H

#include <stdbool.h>

#include "common/error.h"

/* ERROR_BUSY where another program still has it open after wait_ms: nothing is lost, try again.
 * *whole then says that every row is in the file itself, and what stays beside it is empty. */
int night_fold(const char *path, int wait_ms, bool *whole, struct error *error);

#endif
