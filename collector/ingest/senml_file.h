/* Import of a SenML pack in JSON (RFC 8428, 2018), of any length.
 * Must never hold more of it than one record. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_SENML_FILE_H
#define ROOMWAKE_COLLECTOR_INGEST_SENML_FILE_H

#include "collector/ingest/recording.h"

/* A resolved name ends in NODE/CHANNEL (or with colons). Times must be absolute, values numbers or
 * booleans, units the site file's or none. On success *recording is the caller's:
 * recording_close. */
int senml_file_open(const char *path, const struct site *site, struct recording **recording,
                    struct error *error);
/* The same from memory that stays the caller's and must outlive the recording. */
int senml_file_open_bytes(const char *name, const char *bytes, size_t length,
                          const struct site *site, struct recording **recording,
                          struct error *error);

#endif
