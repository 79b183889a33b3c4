/* Whether a night's tables are those that this program makes: what no seal can tell of itself.
 * Must never judge the rows. Called by reader_verify.c. */
#include "collector/night/schema.h"

#include <stdbool.h>
#include <string.h>

#include "collector/night/sql.h"

static const char names_sql[] = "SELECT type || ' ' || name, coalesce(sql, ''), name"
                                " FROM sqlite_schema ORDER BY 1";

static const char *text_of(sqlite3_stmt *statement, int column)
{
    const char *text = (const char *)sqlite3_column_text(statement, column);
    return text ? text : "";
}

/* Both lists go by name; what stands on one side only differs, and so does another text. */
static int compare(sqlite3_stmt *made, sqlite3_stmt *found,
                   void (*differs)(void *context, const char *name), void *context,
                   struct error *error)
{
    int more_made = sql_step(made, error);
    int more_found = more_made < 0 ? -1 : sql_step(found, error);
    while (more_made >= 0 && more_found >= 0 && more_made + more_found > 0) {
        int order = 0;
        if (more_made == 1 && more_found == 1) {
            order = strcmp(text_of(made, 0), text_of(found, 0));
        } else {
            order = more_made == 1 ? -1 : 1;
        }
        if (order != 0 || strcmp(text_of(made, 1), text_of(found, 1)) != 0) {
            differs(context, text_of(order <= 0 ? made : found, 2));
        }
        more_made = order <= 0 ? sql_step(made, error) : more_made;
        more_found = order >= 0 && more_made >= 0 ? sql_step(found, error) : more_found;
    }
    return more_made < 0 || more_found < 0 ? -1 : 0;
}

int schema_compare(sqlite3 *db, void (*differs)(void *context, const char *name), void *context,
                   struct error *error)
{
    sqlite3 *fresh = NULL;
    sqlite3_stmt *made = NULL;
    sqlite3_stmt *found = NULL;
    int result = sqlite3_open(":memory:", &fresh) == SQLITE_OK ? 0 : sql_fail(fresh, error);
    if (result == 0 &&
        (schema_create(fresh, error) != 0 || sql_prepare(fresh, names_sql, &made, error) != 0 ||
         sql_prepare(db, names_sql, &found, error) != 0)) {
        result = -1;
    }
    if (result == 0) {
        result = compare(made, found, differs, context, error);
    }
    sqlite3_finalize(made);
    sqlite3_finalize(found);
    sqlite3_close(fresh);
    return result;
}
