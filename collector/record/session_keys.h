/* The keys of a session with a broker of its own: loaded once, and who may log in read again when
 * `roomwake enrol` changes it. Must never wait for the disk on the loop once it runs. Used by
 * session. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_SESSION_KEYS_H
#define ROOMWAKE_COLLECTOR_RECORD_SESSION_KEYS_H

#include <uv.h>

#include "collector/enrol/enrol.h"

struct session_keys;

/* changed() is called on the loop when there are other passwords; `users` holds those and the
 * access list only, and is freed after the call. */
struct session_keys_hooks {
    void *context;
    void (*changed)(void *context, const struct enrol_broker *users);
    void (*failed)(void *context, const char *why);
};

int session_keys_new(uv_loop_t *loop, const char *site, const char *host,
                     const struct session_keys_hooks *hooks, struct session_keys **keys,
                     struct error *error);
const struct enrol_broker *session_keys_broker(const struct session_keys *keys);
/* Before the loop is left to run out; frees itself with the last handle. NULL is allowed. */
void session_keys_close(struct session_keys *keys);

#endif
