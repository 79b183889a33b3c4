/* One writer a night: an exclusive lock on the companion "NIGHT-lock".
 * Must never be held by a reader.
 *
 * The lock is on a file of its own since closing any descriptor of the database itself would drop
 * SQLite's own locks in this process. The kernel gives it up when a writer dies, so what a crash
 * leaves behind hinders nobody; an orderly end removes it. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_LOCK_H
#define ROOMWAKE_COLLECTOR_NIGHT_LOCK_H

#include "common/error.h"

struct night_lock {
    char *path;
    int descriptor;
};

/* ERROR_BUSY where another writer holds it. */
int night_lock_take(struct night_lock *lock, const char *night, struct error *error);
/* Removes the companion. Does nothing for a lock that was never taken ({0}). */
void night_lock_release(struct night_lock *lock);

#endif
