/* A recording's levels as they wait for the line that gives them their site times.
 * Must never hold sound: ten rows a second. Used by align.c, recorder.c and cmd_align.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ALIGN_LEVELS_H
#define ROOMWAKE_COLLECTOR_RECORD_ALIGN_LEVELS_H

#include <stddef.h>
#include <stdio.h>

#include "collector/align/match.h"
#include "common/error.h"

struct level_row {
    double own_s; /* the end of its tenth of a second, by the recording's own clock */
    float loudness_db;
    float peak_db;
};

/* Start from {0}. */
struct align_levels {
    size_t count;
    size_t size;
    struct level_row *rows;
};

/* A level_told (align/level.h); `levels` is the struct. */
int align_levels_take(void *levels, double own_s, double loudness_db, double peak_db,
                      struct error *error);
void align_levels_free(struct align_levels *levels);
/* Rows "time,node,sound,sound-peak" in the site's time, as an import takes them. ERROR_IO. */
int align_levels_write(const struct align_levels *levels, const struct match *match,
                       const char *node, FILE *out, struct error *error);

#endif
