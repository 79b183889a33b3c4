/* The few steps around SQLite's C calls that every statement needs: errors, arguments, columns.
 * Must never know a table. Used by the files of night/ only. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_SQL_H
#define ROOMWAKE_COLLECTOR_NIGHT_SQL_H

#include <sqlite3.h>
#include <stddef.h>
#include <stdint.h>

#include "common/calibration.h"
#include "common/error.h"

/* Fills *error from the connection's last failure and returns -1. */
int sql_fail(sqlite3 *db, struct error *error);
int sql_exec(sqlite3 *db, const char *sql, struct error *error);
int sql_prepare(sqlite3 *db, const char *sql, sqlite3_stmt **statement, struct error *error);
/* The first column of the first row; ERROR_NOT_FOUND where there is no row or it is NULL. */
int sql_query_int(sqlite3 *db, const char *sql, int64_t *out, struct error *error);

/* Switches to "wal" or "delete" and makes sure that SQLite did. */
int sql_set_journal(sqlite3 *db, const char *mode, struct error *error);

/* Arguments bound one after the other; a failed bind is told by sql_run. Text and blobs are not
 * copied: they must live until the statement is reset. */
struct sql_args {
    sqlite3_stmt *statement;
    int next;
    int failed;
};

struct sql_args sql_args(sqlite3_stmt *statement);
void sql_put_int(struct sql_args *args, int64_t value);
void sql_put_real(struct sql_args *args, double value); /* NaN becomes NULL */
void sql_put_text(struct sql_args *args, const char *text);
void sql_put_blob(struct sql_args *args, const void *bytes, size_t length);
void sql_put_null(struct sql_args *args);
/* Steps a statement without rows to its end and resets it. */
int sql_run(const struct sql_args *args, struct error *error);

/* 1: a row, 0: the end (reset), -1: error (reset). */
int sql_step(sqlite3_stmt *statement, struct error *error);

/* Columns read one after the other. */
struct sql_columns {
    sqlite3_stmt *statement;
    int next;
};

struct sql_columns sql_columns(sqlite3_stmt *statement);
int64_t sql_get_int(struct sql_columns *columns); /* NULL becomes 0 */
double sql_get_real(struct sql_columns *columns); /* NULL becomes NaN */
/* Copies; text that does not fit is cut, NULL becomes "". */
void sql_get_text(struct sql_columns *columns, char *out, size_t size);
/* A column as calibration_write wrote it; NULL, or what is none, becomes no calibration. */
void sql_get_calibration(struct sql_columns *columns, struct calibration *calibration);
void sql_put_calibration(struct sql_args *args, const struct calibration *calibration,
                         struct text *text);
/* Valid until the next step. NULL where the column is NULL or empty. */
const uint8_t *sql_get_blob(struct sql_columns *columns, size_t *length);

#endif
