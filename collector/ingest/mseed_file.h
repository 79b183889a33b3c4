/* Import of FDSN miniSEED 2, in whatever order its records lie.
 * Must never guess a scale: a file that has none of our notes needs to be told the steps. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_MSEED_FILE_H
#define ROOMWAKE_COLLECTOR_INGEST_MSEED_FILE_H

#include "collector/ingest/recording.h"

/* What one count of a channel is worth, for records without a note. */
struct mseed_step {
    char channel[CHANNEL_NAME_SIZE];
    struct decimal step;
};

/* Nodes and channels by the note in blockette 2000, else by station, channel and location codes as
 * the export gives them (common/seed_code.h). On success *recording is the caller's:
 * recording_close. `steps` is copied. */
int mseed_file_open(const char *path, const struct site *site, const struct mseed_step *steps,
                    size_t step_count, struct recording **recording, struct error *error);
/* The same from memory that stays the caller's and must outlive the recording. */
int mseed_file_open_bytes(const char *name, const char *bytes, size_t length,
                          const struct site *site, const struct mseed_step *steps,
                          size_t step_count, struct recording **recording, struct error *error);

#endif
