/* The rows, and their CSV.
 * Must never give a time that the line does not carry. Called by align.c and cmd_align.c. */
#include "collector/record/align_levels.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "common/timefmt.h"

int align_levels_take(void *context, double own_s, double loudness_db, double peak_db,
                      struct error *error)
{
    struct align_levels *levels = context;
    if (levels->count == levels->size) {
        size_t size = levels->size ? 2 * levels->size : 65536;
        struct level_row *rows = realloc(levels->rows, size * sizeof *rows);
        if (!rows) {
            return error_set(error, ERROR_MEMORY, "align: out of memory");
        }
        levels->rows = rows;
        levels->size = size;
    }
    levels->rows[levels->count++] = (struct level_row){own_s, (float)loudness_db, (float)peak_db};
    return 0;
}

void align_levels_free(struct align_levels *levels)
{
    free(levels->rows);
    *levels = (struct align_levels){0};
}

int align_levels_write(const struct align_levels *levels, const struct match *match,
                       const char *node, FILE *out, struct error *error)
{
    fprintf(out, "time,node,sound,sound-peak\n");
    for (size_t i = 0; i < levels->count; i++) {
        char time[TIMEFMT_SIZE];
        timefmt_seconds(match_site_ns(match, levels->rows[i].own_s), time);
        fprintf(out, "%s,%s,%.2f,%.2f\n", time, node, (double)levels->rows[i].loudness_db,
                (double)levels->rows[i].peak_db);
    }
    return fflush(out) == 0 && !ferror(out)
               ? 0
               : error_set(error, ERROR_IO, "levels: %s", strerror(errno));
}
