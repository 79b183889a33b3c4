/* A connection of its own, a checkpoint, another journal mode.
 * Must never be called while a writer has the night. Called by the writer's end and record/. */
#include "collector/night/night_fold.h"

#include <sqlite3.h>

#include "collector/night/schema.h"
#include "collector/night/sql.h"

static int fold(sqlite3 *db, bool *whole, struct error *error)
{
    int in_log = 0;
    int folded = 0;
    /* Until it has read something a connection does not know that there is a log. */
    if (schema_check(db, error) != 0) {
        return -1;
    }
    int rc = sqlite3_wal_checkpoint_v2(db, NULL, SQLITE_CHECKPOINT_TRUNCATE, &in_log, &folded);
    *whole = rc == SQLITE_OK || (rc == SQLITE_BUSY && in_log == folded);
    return rc == SQLITE_OK ? sql_set_journal(db, "delete", error) : sql_fail(db, error);
}

int night_fold(const char *path, int wait_ms, bool *whole, struct error *error)
{
    sqlite3 *db = NULL;
    int result = 0;
    *whole = false;
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL) !=
        SQLITE_OK) {
        result = sql_fail(db, error);
    } else {
        (void)sqlite3_busy_timeout(db, wait_ms);
        result = schema_distrust(db, error) != 0 ? -1 : fold(db, whole, error);
    }
    sqlite3_close(db);
    return result == 0 ? 0 : error_wrap(error, "%s", path);
}
