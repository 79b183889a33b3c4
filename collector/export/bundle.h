/* A night and everything that can be made of it, in one folder or one tar file, with check sums.
 * Must never leave half a bundle behind, nor alter the night. Used by cmd_export.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_H
#define ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_H

#include "collector/export/exporter.h"
#include "collector/night/reader.h"
#include "common/error.h"

/* To options->path: a tar file where it ends in ".tar", else a folder that must not be there yet.
 * ERROR_STATE where the night was not closed: its file is not whole then. */
int bundle_write(const char *night_path, struct night_reader *reader,
                 const struct export_options *options, struct error *error);

#endif
