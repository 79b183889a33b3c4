/* Import of `time,node,CHANNEL,...`.
 * Must never round a value, skip a row or go on after a fault: each is "FILE:LINE: what". */
#ifndef ROOMWAKE_COLLECTOR_INGEST_CSV_H
#define ROOMWAKE_COLLECTOR_INGEST_CSV_H

#include <stddef.h>

#include "collector/ingest/recording.h"

/* Reads and checks every row. On success *recording is the caller's: recording_close. */
int csv_open(const char *path, const struct site *site, struct recording **recording,
             struct error *error);
/* The same from memory that stays the caller's and must outlive the recording. */
int csv_open_bytes(const char *name, const char *bytes, size_t length, const struct site *site,
                   struct recording **recording, struct error *error);

#endif
