/* A moment as a person types it: 23:10, 23:10:30, or RFC 3339.
 * Must never read a clock: what time it is comes from the caller. Used by cmd_mark.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_MOMENT_H
#define ROOMWAKE_COLLECTOR_RECORD_MOMENT_H

#include <stdint.h>

#include "common/error.h"

/* A bare time of day is local, and the last such time up to now_ns. ERROR_USAGE names `option`. */
int moment_parse(const char *text, const char *option, int64_t now_ns, int64_t *time_ns,
                 struct error *error);

#endif
