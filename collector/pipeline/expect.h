/* What chance alone brings in a night, before any has gone by: from the rate that was asked for.
 * Must never look at what happened. Called by the baseline's summary. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_EXPECT_H
#define ROOMWAKE_COLLECTOR_PIPELINE_EXPECT_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "common/ident.h"
#include "common/site.h"

/* A quantity of a node that is watched. */
struct expect_quantity {
    uint32_t node;
    char quantity[IDENT_SIZE];
};

/* Coincidences of any kind, of two nodes or more, in 8 h. ERROR_MEMORY. */
int expect_by_chance(const struct site *site, const struct expect_quantity *quantities,
                     size_t count, double *per_night, struct error *error);

#endif
