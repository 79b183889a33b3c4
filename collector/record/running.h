/* A small file that says which night is being recorded here, so that `roomwake mark` finds it.
 * Must never be trusted: what it names is checked. Used by session.c and cmd_mark.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_RUNNING_H
#define ROOMWAKE_COLLECTOR_RECORD_RUNNING_H

#include <stdint.h>

#include "common/error.h"
#include "common/ident.h"

#define RUNNING_URL_SIZE 256

struct running {
    char site[IDENT_SIZE];
    char broker[RUNNING_URL_SIZE]; /* mqtt://... */
    int pid;
    int64_t site_less_mono_ns; /* site time less this machine's clock that never steps (clock.h) */
};

/* In $ROOMWAKE_RUN_DIR, else $XDG_RUNTIME_DIR/roomwake, else /tmp/roomwake-UID (made, mode 0700).
 */
int running_write(const struct running *running, struct error *error);
void running_remove(const char *site);
/* The one live night, or the one of this site if `site` is not NULL. ERROR_NOT_FOUND where none is
 * being recorded, ERROR_USAGE where several are and none was named. */
int running_find(const char *site, struct running *running, struct error *error);

#endif
