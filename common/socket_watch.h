/* Watches a socket that somebody else owns and may close at any time: polls a duplicate of it.
 * Must never read or write the socket. Called by the MQTT client and the node's time client. */
#ifndef ROOMWAKE_COMMON_SOCKET_WATCH_H
#define ROOMWAKE_COMMON_SOCKET_WATCH_H

#include <uv.h>

#include "common/error.h"

struct socket_watch;

/* status < 0 is libuv's word for trouble on the socket (it has stopped watching by then). */
typedef void (*socket_watch_event)(void *context, int status, int events);
typedef void (*socket_watch_closed)(void *context);

int socket_watch_new(uv_loop_t *loop, int socket, socket_watch_event on_event,
                     socket_watch_closed on_closed, void *context, struct socket_watch **watch,
                     struct error *error);
/* UV_READABLE and UV_WRITABLE, as for uv_poll_start; does nothing where it is so already. */
int socket_watch_set(struct socket_watch *watch, int events);
/* Stops at once (no event any more); the memory goes, and on_closed is called, in a later turn. */
void socket_watch_close(struct socket_watch *watch);

#endif
