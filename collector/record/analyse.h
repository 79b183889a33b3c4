/* Detection and correlation over a stored night, through the very calls of a live one.
 * Must never touch a stored sample: it adds an analysis. Used by cmd_reanalyse.c and session.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ANALYSE_H
#define ROOMWAKE_COLLECTOR_RECORD_ANALYSE_H

#include "collector/record/findings.h"
#include "common/error.h"
#include "common/site.h"

/* Opens the closed night, adds an analysis under `site` (NULL: the night's own) and says why it was
 * made. *counts and *analysis may be NULL. On failure the night is as it was. */
int analyse_night(const char *path, const struct site *site, const char *why,
                  const struct findings_hooks *hooks, struct findings_counts *counts, int *analysis,
                  struct error *error);

/* The same with the nodes' clocks fitted again from all exchanges of the night, before and after
 * each moment: the findings may differ from the live ones by what their times moved. A notice of
 * quantity "clock" says for each node how far that was. */
int analyse_night_refitted(const char *path, const struct site *site, const char *why,
                           const struct findings_hooks *hooks, struct findings_counts *counts,
                           int *analysis, struct error *error);

#endif
