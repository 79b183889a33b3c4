/* The report: one page for strangers who doubt, with its figures inside and no script.
 * Must never say more than the night holds: the strongest word is "unexplained by the causes
 * tested". Used by cmd_report.c and the bundle. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REPORT_H
#define ROOMWAKE_COLLECTOR_EXPORT_REPORT_H

#include <stdio.h>

#include "collector/export/exporter.h"
#include "collector/night/reader.h"
#include "common/error.h"

/* Of options: analysis, progress and stop. `night_name` is how the page calls the night's file. */
int report_write(struct night_reader *reader, const char *night_name,
                 const struct export_options *options, FILE *out, struct error *error);

#endif
