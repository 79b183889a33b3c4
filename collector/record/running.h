/* A small file that says which night is being recorded here, so that `roomwake mark` finds it.
 * Must never be trusted: what it names is checked. Used by session.c and cmd_mark.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_RUNNING_H
#define ROOMWAKE_COLLECTOR_RECORD_RUNNING_H

#include <stdint.h>

#include "common/error.h"
#include "common/ident.h"

#define RUNNING_URL_SIZE 2048
#define RUNNING_NIGHT_SIZE 4096

struct running {
    char site[IDENT_SIZE];
    char broker[RUNNING_URL_SIZE]; /* mqtt://... or mqtts://..., with the base station's password */
    char night[RUNNING_NIGHT_SIZE]; /* the file, absolute */
    int pid;
    int64_t site_less_mono_ns; /* site time less this machine's clock that never steps (clock.h) */
    int64_t clock_set_ns;      /* site time at which the site's clock was last set */
};

/* In $ROOMWAKE_RUN_DIR, else $XDG_RUNTIME_DIR/roomwake, else /tmp/roomwake-UID (made, mode 0700).
 */
int running_write(const struct running *running, struct error *error);
void running_remove(const char *site);
/* What a recorder of this site that died left behind, if this machine was not started since: its
 * mono_ns is of the same line then. ERROR_NOT_FOUND otherwise. */
int running_find_left(const char *site, struct running *running, struct error *error);
/* The one live night, or the one of this site if `site` is not NULL. ERROR_NOT_FOUND where none is
 * being recorded, ERROR_USAGE where several are and none was named. */
int running_find(const char *site, struct running *running, struct error *error);
/* Site time now, by this machine's clock that never steps. */
int64_t running_now_ns(const struct running *running);

#endif
