/* Watches a duplicate of a foreign socket: when its owner closes it and the number is used again,
 * no stranger's events come in. Must never touch the socket's data. Called by mqtt_uv. */
#include "common/mqtt_poll.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct mqtt_poll {
    uv_poll_t handle;
    int socket; /* the duplicate; closed only after libuv let go of it */
    int events;
    mqtt_poll_event on_event;
    mqtt_poll_closed on_closed;
    void *context;
};

static void on_poll(uv_poll_t *handle, int status, int events)
{
    struct mqtt_poll *poll = handle->data;
    if (status < 0) {
        poll->events = 0;
    }
    poll->on_event(poll->context, status, events);
}

static void on_close(uv_handle_t *handle)
{
    struct mqtt_poll *poll = handle->data;
    mqtt_poll_closed on_closed = poll->on_closed;
    void *context = poll->context;
    close(poll->socket);
    free(poll);
    on_closed(context);
}

int mqtt_poll_new(uv_loop_t *loop, int socket, mqtt_poll_event on_event, mqtt_poll_closed on_closed,
                  void *context, struct mqtt_poll **out, struct error *error)
{
    struct mqtt_poll *poll = calloc(1, sizeof *poll);
    if (!poll) {
        return error_set(error, ERROR_MEMORY, "socket watch: out of memory");
    }
    poll->on_event = on_event;
    poll->on_closed = on_closed;
    poll->context = context;
    poll->socket = fcntl(socket, F_DUPFD_CLOEXEC, 0);
    if (poll->socket < 0) {
        int code = errno;
        free(poll);
        return error_set(error, ERROR_IO, "socket watch: %s", strerror(code));
    }
    int rc = uv_poll_init(loop, &poll->handle, poll->socket);
    if (rc < 0) {
        close(poll->socket);
        free(poll);
        return error_set(error, ERROR_IO, "socket watch: %s", uv_strerror(rc));
    }
    poll->handle.data = poll;
    *out = poll;
    return 0;
}

int mqtt_poll_watch(struct mqtt_poll *poll, int events)
{
    if (poll->events == events) {
        return 0;
    }
    poll->events = events;
    return uv_poll_start(&poll->handle, events, on_poll);
}

void mqtt_poll_close(struct mqtt_poll *poll)
{
    uv_poll_stop(&poll->handle);
    uv_close((uv_handle_t *)&poll->handle, on_close);
}
