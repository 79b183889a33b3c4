/* The site and the night's name into the file, and what a reopened night must agree with.
 * Must never be included outside writer*.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_WRITER_SITE_H
#define ROOMWAKE_COLLECTOR_NIGHT_WRITER_SITE_H

#include "collector/night/writer_internal.h"

/* Inside the transaction that creates the tables: meta, site, rooms, nodes, the first analysis. */
int writer_put_site(struct store *store, const struct night_settings *settings,
                    struct error *error);
/* The site file with one more node than the night has: both as new rows. */
int writer_put_more_site(struct store *store, const struct site *site, const char *site_text,
                         struct error *error);
/* ERROR_STATE where the night was begun with another site file. */
int writer_check_site(struct store *store, const struct night_settings *settings,
                      struct error *error);
/* One row of boot and channel back into memory. */
int writer_load_channel(struct night_writer *writer, sqlite3_stmt *statement, struct error *error);
/* So that the file's name outlives a power cut. */
int writer_sync_folder(const char *path, struct error *error);

#endif
