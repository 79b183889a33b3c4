/* A mark: what the team did, where and for how long. Plain value.
 * Must never be altered after it was stored: a correction is a further row. The last row of a mark
 * is what counts; its first row's id is the mark's number. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_MARK_H
#define ROOMWAKE_COLLECTOR_MODEL_MARK_H

#include <stdbool.h>
#include <stdint.h>

#include "common/ident.h"

#define MARK_TEXT_SIZE 512
/* The end of a mark that goes on until somebody ends it. */
#define MARK_RUNNING_NS INT64_MAX

struct mark {
    int64_t id; /* of this row, from 1 in the order of arrival */
    int64_t start_ns;
    int64_t end_ns;        /* MARK_RUNNING_NS: not ended yet */
    int64_t noted_ns;      /* site time at which the base station learned of it */
    char room[IDENT_SIZE]; /* "" for the whole site */
    char who[IDENT_SIZE];
    char text[MARK_TEXT_SIZE];
    int64_t corrects; /* the number of the mark that this row replaces; 0: a mark of its own */
    bool withdrawn;   /* the team takes it back: it covers nothing any more */
};

static inline int64_t mark_number(const struct mark *mark)
{
    return mark->corrects != 0 ? mark->corrects : mark->id;
}

#endif
