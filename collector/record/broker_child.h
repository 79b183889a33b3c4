/* A mosquitto of the base station's own: configured for the site, started as a child, started again
 * when it dies. Must never listen beyond the address it was given. Used by session.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_BROKER_CHILD_H
#define ROOMWAKE_COLLECTOR_RECORD_BROKER_CHILD_H

#include <uv.h>

#include "collector/enrol/enrol.h"
#include "common/error.h"

struct broker_child;

/* Makes the configuration and starts the broker: with `keys` TLS 1.2 or newer, a password for
 * everybody and the access list; with NULL open to whoever reaches the address. ERROR_NOT_FOUND
 * where no mosquitto is installed; ERROR_BUSY where the port is taken. host is a numeric address.
 * On failure *child is either NULL or must be stopped and freed like a good one. */
int broker_child_start(uv_loop_t *loop, const char *host, int port, const struct enrol_broker *keys,
                       struct broker_child **child, struct error *error);
/* Hands over who may log in from now on; who may not any more is dropped. The certificate stays. */
int broker_child_reload(struct broker_child *child, const struct enrol_broker *keys,
                        struct error *error);
/* Ends the broker, closes the handles, then calls on_stopped; free it there or
 * later. */
void broker_child_stop(struct broker_child *child, void (*on_stopped)(void *context),
                       void *context);
void broker_child_free(struct broker_child *child);

#endif
