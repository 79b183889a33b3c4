/* SQLite's own backup of one file into another.
 * Must never write the night that is read. Called by record/recorder. */
#include "collector/night/night_copy.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "collector/night/sql.h"

/* 16 MiB at a time, so that a stop is heard. */
#define PAGES 2048
#define BUSY_MS 5000

static int copy_pages(sqlite3 *from, sqlite3 *to, const volatile sig_atomic_t *stop,
                      struct error *error)
{
    sqlite3_backup *backup = sqlite3_backup_init(to, "main", from, "main");
    if (!backup) {
        return sql_fail(to, error);
    }
    int rc = SQLITE_OK;
    while (rc == SQLITE_OK && !(stop && *stop)) {
        rc = sqlite3_backup_step(backup, PAGES);
    }
    int ended = sqlite3_backup_finish(backup);
    if (rc == SQLITE_OK) {
        return error_set(error, ERROR_STATE, "stopped; nothing was made");
    }
    return ended == SQLITE_OK && rc == SQLITE_DONE ? 0 : sql_fail(to, error);
}

int night_copy(const char *from, const char *to, const volatile sig_atomic_t *stop,
               struct error *error)
{
    sqlite3 *source = NULL;
    sqlite3 *target = NULL;
    int result = 0;
    if (sqlite3_open_v2(from, &source, SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX, NULL) !=
        SQLITE_OK) {
        (void)sql_fail(source, error);
        result = error_wrap(error, "%s", from);
    } else if (sqlite3_open_v2(to, &target, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL) !=
               SQLITE_OK) {
        (void)sql_fail(target, error);
        result = error_wrap(error, "%s", to);
    } else {
        (void)sqlite3_busy_timeout(source, BUSY_MS);
        result = copy_pages(source, target, stop, error) == 0 ? 0 : error_wrap(error, "%s", to);
    }
    sqlite3_close(source);
    sqlite3_close(target);
    return result;
}

void night_remove(const char *path)
{
    static const char *const suffixes[] = {"", "-wal", "-shm", "-journal"};
    for (size_t i = 0; i < sizeof suffixes / sizeof *suffixes; i++) {
        char *name = NULL;
        if (asprintf(&name, "%s%s", path, suffixes[i]) >= 0) {
            (void)unlink(name);
            free(name);
        }
    }
}
