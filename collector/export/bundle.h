/* A night and everything that can be made of it, in one folder or one tar file, with check sums.
 * Must never leave half a bundle behind, nor alter the night. Used by cmd_export.c and
 * record/page.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_H
#define ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_H

#include "collector/export/exporter.h"
#include "collector/night/reader.h"
#include "common/error.h"

/* To options->path: a tar file where it ends in ".tar", else a folder that must not be there yet.
 * ERROR_STATE where the night was not closed: its file is not whole then. */
int bundle_write(const char *night_path, struct night_reader *reader,
                 const struct export_options *options, struct error *error);

/* The same as a tar archive to `out`, which may be a pipe. Each of its files is made in a scratch
 * file first (scratch.h): ERROR_FULL where there is no room for that. */
int bundle_stream(const char *night_path, struct night_reader *reader,
                  const struct export_options *options, FILE *out, struct error *error);
/* Whether that could begin now. */
int bundle_check(const char *night_path, struct night_reader *reader, struct error *error);

#endif
