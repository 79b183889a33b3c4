/* A mark: what the team did, where and for how long. Plain value.
 * Must never be altered after it was stored: a correction is a new mark. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_MARK_H
#define ROOMWAKE_COLLECTOR_MODEL_MARK_H

#include <stdint.h>

#include "common/ident.h"

#define MARK_TEXT_SIZE 512

struct mark {
    int64_t id; /* from 1 in the order of arrival */
    int64_t start_ns;
    int64_t end_ns;
    int64_t noted_ns;      /* site time at which the base station learned of it */
    char room[IDENT_SIZE]; /* "" for the whole site */
    char who[IDENT_SIZE];
    char text[MARK_TEXT_SIZE];
};

#endif
