/* Deadlines of connections.
 * Must never close a descriptor: the library does, when it sees that it was shut. Called by
 * server.c and routes.c. */
#include "collector/web/guard.h"

#include <stdlib.h>
#include <sys/socket.h>

struct web_guarded {
    struct web_guarded *before;
    struct web_guarded *after;
    int descriptor;
    uint64_t deadline_ms; /* 0: none */
};

struct web_guard {
    struct web_guarded *first;
};

int web_guard_new(struct web_guard **out, struct error *error)
{
    *out = calloc(1, sizeof **out);
    return *out ? 0 : error_set(error, ERROR_MEMORY, "page: out of memory");
}

void web_guard_free(struct web_guard *guard)
{
    free(guard);
}

struct web_guarded *web_guard_open(struct web_guard *guard, int descriptor, uint64_t now_ms)
{
    struct web_guarded *guarded = calloc(1, sizeof *guarded);
    if (guarded) {
        guarded->descriptor = descriptor;
        guarded->deadline_ms = now_ms + WEB_GUARD_HEAD_MS;
        guarded->after = guard->first;
        if (guard->first) {
            guard->first->before = guarded;
        }
        guard->first = guarded;
    }
    return guarded;
}

void web_guard_close(struct web_guard *guard, struct web_guarded *guarded)
{
    if (!guarded) {
        return;
    }
    if (guarded->before) {
        guarded->before->after = guarded->after;
    } else {
        guard->first = guarded->after;
    }
    if (guarded->after) {
        guarded->after->before = guarded->before;
    }
    free(guarded);
}

void web_guard_until(struct web_guarded *guarded, uint64_t deadline_ms)
{
    if (guarded) {
        guarded->deadline_ms = deadline_ms;
    }
}

void web_guard_look(struct web_guard *guard, uint64_t now_ms)
{
    for (struct web_guarded *guarded = guard->first; guarded; guarded = guarded->after) {
        if (guarded->deadline_ms != 0 && now_ms > guarded->deadline_ms) {
            guarded->deadline_ms = 0;
            (void)shutdown(guarded->descriptor, SHUT_RDWR);
        }
    }
}
