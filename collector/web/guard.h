/* How long a connection may take to say what it wants: one that dawdles is shut, however many bytes
 * it sends meanwhile. Must never cut a reader of the live stream. Used by server.c and routes.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_GUARD_H
#define ROOMWAKE_COLLECTOR_WEB_GUARD_H

#include <stdint.h>

#include "common/error.h"

/* From its opening to the end of its first head; and, for a POST, to the end of its body. */
#define WEB_GUARD_HEAD_MS 10000u
/* Without a request. */
#define WEB_GUARD_IDLE_MS 15000u

struct web_guard;
struct web_guarded;

int web_guard_new(struct web_guard **guard, struct error *error);
/* After all connections were closed. */
void web_guard_free(struct web_guard *guard);

/* NULL where memory ran out: the connection then is the library's own timeout's. */
struct web_guarded *web_guard_open(struct web_guard *guard, int descriptor, uint64_t now_ms);
void web_guard_close(struct web_guard *guard, struct web_guarded *guarded);
/* It has until then; 0: it is being answered. NULL is allowed. */
void web_guard_until(struct web_guarded *guarded, uint64_t deadline_ms);
/* Shuts who is late. */
void web_guard_look(struct web_guard *guard, uint64_t now_ms);

#endif
