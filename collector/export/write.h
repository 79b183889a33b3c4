/* Text on its way to a file: gathered, then written in large pieces.
 * Must never lose a failed write. Used by the exports. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_WRITE_H
#define ROOMWAKE_COLLECTOR_EXPORT_WRITE_H

#include <stdbool.h>
#include <stdio.h>

#include "common/error.h"
#include "common/text.h"

/* Writes the gathered text once there is enough of it (or, with `all`, any) and empties it. */
int write_text(struct text *text, FILE *out, bool all, struct error *error);

#endif
