/* Watches a duplicate of a foreign socket: when its owner closes it and the number is used again,
 * no stranger's events come in. Must never touch the socket's data. Called by the MQTT client and
 * the node's time client. */
#include "common/socket_watch.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct socket_watch {
    uv_poll_t handle;
    int socket; /* the duplicate; closed only after libuv let go of it */
    int events;
    socket_watch_event on_event;
    socket_watch_closed on_closed;
    void *context;
};

static void on_poll(uv_poll_t *handle, int status, int events)
{
    struct socket_watch *watch = handle->data;
    if (status < 0) {
        watch->events = 0;
    }
    watch->on_event(watch->context, status, events);
}

static void on_close(uv_handle_t *handle)
{
    struct socket_watch *watch = handle->data;
    socket_watch_closed on_closed = watch->on_closed;
    void *context = watch->context;
    close(watch->socket);
    free(watch);
    on_closed(context);
}

int socket_watch_new(uv_loop_t *loop, int socket, socket_watch_event on_event,
                     socket_watch_closed on_closed, void *context, struct socket_watch **out,
                     struct error *error)
{
    struct socket_watch *watch = calloc(1, sizeof *watch);
    if (!watch) {
        return error_set(error, ERROR_MEMORY, "socket watch: out of memory");
    }
    watch->on_event = on_event;
    watch->on_closed = on_closed;
    watch->context = context;
    watch->socket = fcntl(socket, F_DUPFD_CLOEXEC, 0);
    if (watch->socket < 0) {
        int code = errno;
        free(watch);
        return error_set(error, ERROR_IO, "socket watch: %s", strerror(code));
    }
    int rc = uv_poll_init(loop, &watch->handle, watch->socket);
    if (rc < 0) {
        close(watch->socket);
        free(watch);
        return error_set(error, ERROR_IO, "socket watch: %s", uv_strerror(rc));
    }
    watch->handle.data = watch;
    *out = watch;
    return 0;
}

int socket_watch_set(struct socket_watch *watch, int events)
{
    if (watch->events == events) {
        return 0;
    }
    watch->events = events;
    return uv_poll_start(&watch->handle, events, on_poll);
}

void socket_watch_close(struct socket_watch *watch)
{
    uv_poll_stop(&watch->handle);
    uv_close((uv_handle_t *)&watch->handle, on_close);
}
