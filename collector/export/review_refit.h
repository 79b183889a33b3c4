/* The part of the review that says what fitting the clocks again from the whole night did.
 * Must never change which findings the review shows. Used by review.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REVIEW_REFIT_H
#define ROOMWAKE_COLLECTOR_EXPORT_REVIEW_REFIT_H

#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"
#include "common/site.h"

/* Writes nothing where the night has no such analysis beside the one shown. */
int review_write_refit(struct night_reader *reader, const struct site *site, FILE *out,
                       struct error *error);

#endif
