/* At the end of a night: the nodes' clocks fitted again from the whole of it, and what that does to
 * the findings, as a further analysis beside the live one. Must never touch the live one.
 * Used by session.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_FINAL_FIT_H
#define ROOMWAKE_COLLECTOR_RECORD_FINAL_FIT_H

#include <stdbool.h>
#include <stdint.h>

#include "common/error.h"

struct final_fit {
    int analysis;    /* 0: no node's exchanges are stored, so there is nothing to fit */
    bool stands;     /* no onset moved by what matters beside its uncertainty: the same findings */
    int64_t most_ns; /* the largest move of a block, signed */
};

/* Of a closed night. Where an onset could matter the samples go through detection and correlation
 * again (about a thousandth of the night's length); else the findings are taken as they stand. On
 * failure the night is as it was. */
int final_fit_make(const char *path, struct final_fit *end, struct error *error);

#endif
