/* One writer a night: an exclusive lock on the companion "NIGHT-lock".
 * Must never wait: a lock that is held is told at once. Called by writer_open.c. */
#include "collector/night/lock.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define TRIES 10

/* Whether the descriptor is still what the path names: a writer that ends removes the companion. */
static bool still_there(int descriptor, const char *path)
{
    struct stat held;
    struct stat named;
    return fstat(descriptor, &held) == 0 && stat(path, &named) == 0 &&
           held.st_ino == named.st_ino && held.st_dev == named.st_dev;
}

int night_lock_take(struct night_lock *lock, const char *night, struct error *error)
{
    *lock = (struct night_lock){.descriptor = -1};
    if (asprintf(&lock->path, "%s-lock", night) < 0) {
        lock->path = NULL;
        return error_set(error, ERROR_MEMORY, "%s: out of memory", night);
    }
    int result = 0;
    for (int i = 0; i < TRIES && result == 0; i++) {
        lock->descriptor = open(lock->path, O_RDWR | O_CREAT | O_CLOEXEC, 0644);
        if (lock->descriptor < 0) {
            result = error_set(error, ERROR_IO, "%s: %s", lock->path, strerror(errno));
        } else if (flock(lock->descriptor, LOCK_EX | LOCK_NB) != 0) {
            result = errno == EWOULDBLOCK
                         ? error_set(error, ERROR_BUSY, "%s: another program writes it", night)
                         : error_set(error, ERROR_IO, "%s: %s", lock->path, strerror(errno));
        } else if (still_there(lock->descriptor, lock->path)) {
            return 0;
        }
        if (lock->descriptor >= 0) {
            close(lock->descriptor);
        }
    }
    if (result == 0) {
        result = error_set(error, ERROR_BUSY, "%s: another program writes it", night);
    }
    free(lock->path);
    *lock = (struct night_lock){.descriptor = -1};
    return result;
}

void night_lock_release(struct night_lock *lock)
{
    if (!lock->path) {
        return;
    }
    (void)unlink(lock->path); /* while it is held, so that nobody else's is removed */
    close(lock->descriptor);
    free(lock->path);
    *lock = (struct night_lock){.descriptor = -1};
}
