/* Watches a socket that somebody else owns and may close at any time: polls a duplicate of it.
 * Must never read or write the socket. Called by mqtt_uv. */
#ifndef ROOMWAKE_COMMON_MQTT_POLL_H
#define ROOMWAKE_COMMON_MQTT_POLL_H

#include <uv.h>

#include "common/error.h"

struct mqtt_poll;

/* status < 0 is libuv's word for trouble on the socket (it has stopped watching by then). */
typedef void (*mqtt_poll_event)(void *context, int status, int events);
typedef void (*mqtt_poll_closed)(void *context);

int mqtt_poll_new(uv_loop_t *loop, int socket, mqtt_poll_event on_event, mqtt_poll_closed on_closed,
                  void *context, struct mqtt_poll **poll, struct error *error);
/* UV_READABLE and UV_WRITABLE, as for uv_poll_start; does nothing where it is so already. */
int mqtt_poll_watch(struct mqtt_poll *poll, int events);
/* Stops at once (no event any more); the memory goes, and on_closed is called, in a later turn. */
void mqtt_poll_close(struct mqtt_poll *poll);

#endif
