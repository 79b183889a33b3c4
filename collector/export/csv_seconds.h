/* A table of whole seconds: of each channel the least, the mean and the most.
 * Must never leave a peak out. Used by csv.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_CSV_SECONDS_H
#define ROOMWAKE_COLLECTOR_EXPORT_CSV_SECONDS_H

#include "collector/export/exporter.h"

int csv_seconds_run(struct night_reader *reader, const struct export_options *options, FILE *out,
                    struct error *error);

#endif
