/* A file without a name, for what must be whole before it can go on its way: it is gone with the
 * program, whatever happens. Must never fill a disk on which a night may be recorded.
 * Used by bundle.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_SCRATCH_H
#define ROOMWAKE_COLLECTOR_EXPORT_SCRATCH_H

#include <stdint.h>
#include <stdio.h>

#include "common/error.h"

/* So much stays free on the disk. */
#define SCRATCH_SPARE_BYTES (INT64_C(256) * 1024 * 1024)

/* In the folder of `beside`, or where that has no room or can't be written, among the temporary
 * files ($TMPDIR, /tmp): the first that has room for `bytes` and the spare. ERROR_FULL says how
 * much is needed and how much is free. The caller closes *out. */
int scratch_open(const char *beside, int64_t bytes, FILE **out, struct error *error);

#endif
