/* One datagram socket with kernel stamps both ways.
 * Must never block, nor read the wall clock for a time. Called by timekeeper.c and by libuv. */
#include "node/time_socket.h"

#include <errno.h>
#include <netinet/in.h>
#include <string.h>
#include <unistd.h>

#include "common/log.h"
#include "common/stamped_receive.h"
#include "common/stamped_send.h"

#define TAKEN_MOST 32

static bool same_address(const struct sockaddr_storage *a, const struct sockaddr_storage *b)
{
    if (a->ss_family != b->ss_family) {
        return false;
    }
    if (a->ss_family == AF_INET) {
        const struct sockaddr_in *left = (const struct sockaddr_in *)a;
        const struct sockaddr_in *right = (const struct sockaddr_in *)b;
        return left->sin_port == right->sin_port && left->sin_addr.s_addr == right->sin_addr.s_addr;
    }
    const struct sockaddr_in6 *left = (const struct sockaddr_in6 *)a;
    const struct sockaddr_in6 *right = (const struct sockaddr_in6 *)b;
    return left->sin6_port == right->sin6_port &&
           memcmp(&left->sin6_addr, &right->sin6_addr, sizeof left->sin6_addr) == 0;
}

static void on_watch_closed(void *context)
{
    (void)context;
}

static void on_event(void *context, int status, int events)
{
    struct time_socket *time_socket = context;
    if (status < 0) {
        time_socket_close(time_socket); /* made anew by the next question */
        return;
    }
    if (events & UV_PRIORITIZED) {
        stamped_send_drain(time_socket->socket);
    }
    for (int i = 0; i < TAKEN_MOST; i++) {
        uint8_t bytes[512];
        struct sockaddr_storage from;
        int64_t came_ns;
        ssize_t got = stamped_receive(time_socket->socket, &time_socket->clock, bytes, sizeof bytes,
                                      &from, &came_ns);
        if (got < 0) {
            break;
        }
        if (same_address(&from, &time_socket->server)) {
            time_socket->on_datagram(time_socket->context, bytes, (size_t)got, came_ns);
        }
    }
    time_socket->on_taken(time_socket->context);
}

int time_socket_open(struct time_socket *time_socket)
{
    struct error error;
    if (time_socket->socket >= 0) {
        return 0;
    }
    time_socket->socket =
        socket(time_socket->server.ss_family, SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (time_socket->socket < 0) {
        log_warning("time socket: %s", strerror(errno));
        return -1;
    }
    stamped_receive_prepare(time_socket->socket);
    stamped_send_prepare(time_socket->socket);
    if (socket_watch_new(time_socket->loop, time_socket->socket, on_event, on_watch_closed,
                         time_socket, &time_socket->watch, &error) ||
        socket_watch_set(time_socket->watch, UV_READABLE | UV_PRIORITIZED)) {
        log_warning("time socket is not to be watched");
        time_socket_close(time_socket);
        return -1;
    }
    return 0;
}

void time_socket_close(struct time_socket *time_socket)
{
    if (time_socket->watch) {
        socket_watch_close(time_socket->watch);
        time_socket->watch = NULL;
    }
    if (time_socket->socket >= 0) {
        close(time_socket->socket);
        time_socket->socket = -1;
    }
}

void time_socket_send(struct time_socket *time_socket, const uint8_t *bytes, size_t length,
                      int64_t *left_ns)
{
    if (stamped_send(time_socket->socket, &time_socket->clock, bytes, length, &time_socket->server,
                     time_socket->server_length, left_ns) < 0) {
        log_debug("time request: %s", strerror(errno));
    }
}
