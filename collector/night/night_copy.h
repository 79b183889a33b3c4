/* A night as files: a copy of it, page by page, and the removal of one.
 * Must never touch the night that is copied. Used by record/recorder.c and the writer. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_NIGHT_COPY_H
#define ROOMWAKE_COLLECTOR_NIGHT_NIGHT_COPY_H

#include <signal.h>

#include "common/error.h"

/* `to` is made new and empty by the caller (mkstemp) and filled; on failure it is left for the
 * caller to remove. An analysis that is being added to `from` meanwhile is waited for. `stop` (may
 * be NULL) not 0: ERROR_STATE. ERROR_FULL where the disk is. */
int night_copy(const char *from, const char *to, const volatile sig_atomic_t *stop,
               struct error *error);
/* With what SQLite may have put beside it. */
void night_remove(const char *path);

#endif
