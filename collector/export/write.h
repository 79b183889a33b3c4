/* Text on its way to a file: gathered, then written in large pieces.
 * Must never lose a failed write. Used by the exports. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_WRITE_H
#define ROOMWAKE_COLLECTOR_EXPORT_WRITE_H

#include <stdint.h>
#include <stdio.h>

#include "common/error.h"
#include "common/text.h"

/* Writes the gathered text once there is enough of it (or, with `all`, any) and empties it. */
int write_text(struct text *text, FILE *out, bool all, struct error *error);

/* A number that reads back as the same double, as short as may be; null for what is none. */
void write_double(struct text *text, double value);
/* Seconds as an exact decimal number. */
void write_seconds(struct text *text, int64_t ns);
/* RFC 3339 in quotes. */
void write_time(struct text *text, int64_t utc_ns);
/* The same, or null for 0. */
void write_time_or_null(struct text *text, int64_t utc_ns);

#endif
