/* The nodes' clocks over the night, in a few lines a node: least, median and most of each.
 * Must never be included outside review*.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REVIEW_CLOCK_H
#define ROOMWAKE_COLLECTOR_EXPORT_REVIEW_CLOCK_H

#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"
#include "common/site.h"

/* Nothing where no node told of its clock. */
int review_write_clocks(struct night_reader *reader, const struct site *site, FILE *out,
                        struct error *error);

#endif
