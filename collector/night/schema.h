/* The night's tables, its marks of type and version, and the checks on opening one.
 * Must never hold a query: those are with the writer and the reader, who are the only callers. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_SCHEMA_H
#define ROOMWAKE_COLLECTOR_NIGHT_SCHEMA_H

#include <sqlite3.h>

#include "common/error.h"

#define SCHEMA_APPLICATION_ID 0x526d576b /* "RmWk" */
#define SCHEMA_VERSION 6

/* A block's id is its frame's id times this plus its place in the frame; a channel's id is its
 * boot's id times this plus its place in the boot's list. */
#define SCHEMA_FANOUT 32

/* Sets the page size; before anything is written. */
int schema_prepare(sqlite3 *db, struct error *error);
/* Creates all tables inside the caller's transaction. */
int schema_create(sqlite3 *db, struct error *error);
/* ERROR_FORMAT: no night, or a damaged one; ERROR_VERSION: made by a newer Roomwake. */
int schema_check(sqlite3 *db, struct error *error);
/* A night may come from anybody: nothing in its schema is trusted. Every connection calls this. */
int schema_distrust(sqlite3 *db, struct error *error);
/* As schema_distrust, for a connection that only reads: a file that is cut short is read as far as
 * it goes. */
int schema_bear_damage(sqlite3 *db, struct error *error);
/* Calls `differs` for each table or index that is not as schema_create makes it. */
int schema_compare(sqlite3 *db, void (*differs)(void *context, const char *name), void *context,
                   struct error *error);

#endif
