/* The few steps around SQLite's C calls: errors, arguments, columns.
 * Must never know a table. Called by the files of night/ only. */
#include "collector/night/sql.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static enum error_code code_of(sqlite3 *db)
{
    switch (sqlite3_errcode(db) & 0xff) {
    case SQLITE_FULL:
        return ERROR_FULL;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return ERROR_BUSY;
    case SQLITE_NOMEM:
        return ERROR_MEMORY;
    case SQLITE_CORRUPT:
    case SQLITE_ERROR: /* a table or column that a night must have is missing */
        return ERROR_FORMAT;
    default:
        return sqlite3_system_errno(db) == ENOSPC ? ERROR_FULL : ERROR_IO;
    }
}

int sql_fail(sqlite3 *db, struct error *error)
{
    if ((sqlite3_errcode(db) & 0xff) == SQLITE_NOTADB) {
        return error_set(error, ERROR_FORMAT, "not a night: %s", sqlite3_errmsg(db));
    }
    int system = sqlite3_system_errno(db);
    const char *sep = system != 0 ? ": " : "";
    return error_set(error, code_of(db), "%s%s%s", sqlite3_errmsg(db), sep,
                     system != 0 ? strerror(system) : "");
}

int sql_exec(sqlite3 *db, const char *sql, struct error *error)
{
    return sqlite3_exec(db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0 : sql_fail(db, error);
}

int sql_prepare(sqlite3 *db, const char *sql, sqlite3_stmt **statement, struct error *error)
{
    int rc = sqlite3_prepare_v3(db, sql, -1, SQLITE_PREPARE_PERSISTENT, statement, NULL);
    return rc == SQLITE_OK ? 0 : sql_fail(db, error);
}

int sql_query_int(sqlite3 *db, const char *sql, int64_t *out, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(db, sql, &statement, error) != 0) {
        return -1;
    }
    int result = sql_step(statement, error);
    if (result == 1 && sqlite3_column_type(statement, 0) != SQLITE_NULL) {
        *out = sqlite3_column_int64(statement, 0);
        result = 0;
    } else if (result >= 0) {
        result = error_set(error, ERROR_NOT_FOUND, "nothing there");
    }
    sqlite3_finalize(statement);
    return result;
}

int sql_set_journal(sqlite3 *db, const char *mode, struct error *error)
{
    char sql[64];
    char now[16] = "";
    sqlite3_stmt *statement = NULL;
    (void)snprintf(sql, sizeof sql, "PRAGMA journal_mode=%s", mode);
    if (sql_prepare(db, sql, &statement, error) != 0) {
        return -1;
    }
    int result = sql_step(statement, error);
    if (result == 1) {
        struct sql_columns row = sql_columns(statement);
        sql_get_text(&row, now, sizeof now);
        result = 0;
    }
    sqlite3_finalize(statement);
    if (result == 0 && strcmp(now, mode) != 0) {
        /* Out of "wal" it can't go while another has the file open; into it, on some file systems.
         */
        result = error_set(error, strcmp(now, "wal") == 0 ? ERROR_BUSY : ERROR_IO,
                           "journal mode stays %s, not %s", now, mode);
    }
    return result;
}

struct sql_args sql_args(sqlite3_stmt *statement)
{
    return (struct sql_args){.statement = statement, .next = 1, .failed = SQLITE_OK};
}

static void note(struct sql_args *args, int rc)
{
    if (rc != SQLITE_OK) {
        args->failed = rc;
    }
}

void sql_put_int(struct sql_args *args, int64_t value)
{
    note(args, sqlite3_bind_int64(args->statement, args->next++, value));
}

void sql_put_real(struct sql_args *args, double value)
{
    note(args, sqlite3_bind_double(args->statement, args->next++, value));
}

void sql_put_text(struct sql_args *args, const char *text)
{
    note(args, sqlite3_bind_text(args->statement, args->next++, text, -1, SQLITE_STATIC));
}

void sql_put_blob(struct sql_args *args, const void *bytes, size_t length)
{
    note(args, sqlite3_bind_blob64(args->statement, args->next++, bytes, length, SQLITE_STATIC));
}

void sql_put_null(struct sql_args *args)
{
    note(args, sqlite3_bind_null(args->statement, args->next++));
}

int sql_run(const struct sql_args *args, struct error *error)
{
    if (args->failed != SQLITE_OK) {
        return error_set(error, args->failed == SQLITE_NOMEM ? ERROR_MEMORY : ERROR_STATE, "%s",
                         sqlite3_errstr(args->failed));
    }
    int result = sql_step(args->statement, error);
    if (result == 1) {
        sqlite3_reset(args->statement);
        result = 0;
    }
    return result;
}

int sql_step(sqlite3_stmt *statement, struct error *error)
{
    int rc = sqlite3_step(statement);
    if (rc == SQLITE_ROW) {
        return 1;
    }
    int result = 0;
    if (rc != SQLITE_DONE) {
        result = sql_fail(sqlite3_db_handle(statement), error);
    }
    sqlite3_reset(statement);
    return result;
}

struct sql_columns sql_columns(sqlite3_stmt *statement)
{
    return (struct sql_columns){.statement = statement, .next = 0};
}

int64_t sql_get_int(struct sql_columns *columns)
{
    return sqlite3_column_int64(columns->statement, columns->next++);
}

double sql_get_real(struct sql_columns *columns)
{
    int column = columns->next++;
    if (sqlite3_column_type(columns->statement, column) == SQLITE_NULL) {
        return NAN;
    }
    return sqlite3_column_double(columns->statement, column);
}

void sql_get_text(struct sql_columns *columns, char *out, size_t size)
{
    const char *text = (const char *)sqlite3_column_text(columns->statement, columns->next++);
    (void)snprintf(out, size, "%s", text ? text : "");
}

const uint8_t *sql_get_blob(struct sql_columns *columns, size_t *length)
{
    int column = columns->next++;
    const uint8_t *bytes = sqlite3_column_blob(columns->statement, column);
    *length = (size_t)sqlite3_column_bytes(columns->statement, column);
    return bytes;
}

void sql_get_calibration(struct sql_columns *columns, struct calibration *calibration)
{
    size_t length = 0;
    struct error ignored; /* whether it is well formed was looked at when the night was opened */
    const uint8_t *bytes = sql_get_blob(columns, &length);
    *calibration = (struct calibration){0};
    if (bytes) {
        (void)calibration_parse((const char *)bytes, length, "calibration", calibration, &ignored);
    }
}

void sql_put_calibration(struct sql_args *args, const struct calibration *calibration,
                         struct text *text)
{
    if (calibration->date_ns == 0) {
        sql_put_null(args);
    } else if (calibration_write(calibration, text) != 0) {
        args->failed = SQLITE_NOMEM;
    } else {
        sql_put_text(args, text->bytes);
    }
}
