/* Bytes on their way to a file: gathered, then written in large pieces; with each piece, how far it
 * has come is told and whether to stop is asked. Must never lose a failed write. Used by the
 * exports. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_WRITE_H
#define ROOMWAKE_COLLECTOR_EXPORT_WRITE_H

#include <stdbool.h>
#include <stdio.h>

#include "collector/export/exporter.h"
#include "common/error.h"
#include "common/text.h"

/* Writes the gathered text once there is enough of it (or, with `all`, any) and empties it. */
int write_text(struct text *text, FILE *out, bool all, struct error *error);

/* How far an export is. Start from write_progress. */
struct progress {
    const struct export_options *options;
    int64_t start_ns;
    int64_t length_ns; /* 0: not known */
    int percent;
};
int progress_begin(struct progress *progress, struct night_reader *reader,
                   const struct export_options *options, struct error *error);
/* All before time_ns is done. ERROR_STATE where somebody said to stop. */
int progress_tell(struct progress *progress, int64_t time_ns, struct error *error);

#endif
