/* The text that goes with a bundle, for whoever gets it.
 * Must never be included outside bundle*.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_README_H
#define ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_README_H

#include <stdio.h>

#include "collector/export/exporter.h"

int bundle_readme_write(struct night_reader *reader, const struct export_options *options,
                        FILE *out, struct error *error);

#endif
