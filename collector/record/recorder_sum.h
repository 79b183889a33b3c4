/* The SHA-256 of a recording's file, which binds the recorder's samples to it.
 * Must never write. Used by recorder.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_RECORDER_SUM_H
#define ROOMWAKE_COLLECTOR_RECORD_RECORDER_SUM_H

#include <signal.h>
#include <stdint.h>

#include "common/error.h"

/* As sha256sum prints it. `stop` (may be NULL) not 0: ERROR_STATE. */
int recorder_sum(const char *path, const volatile sig_atomic_t *stop, char hex[65],
                 struct error *error);
/* A recorder has no boots: its first 16 digits stand for one. */
uint64_t recorder_boot(const char hex[65]);

#endif
