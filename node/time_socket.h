/* The UDP socket to the time server: opened where its address is, watched on the loop, its packets
 * stamped by the kernel. Must never take a packet from anybody else. Used by timekeeper.c. */
#ifndef ROOMWAKE_NODE_TIME_SOCKET_H
#define ROOMWAKE_NODE_TIME_SOCKET_H

#include <stdbool.h>
#include <sys/socket.h>
#include <uv.h>

#include "common/clock.h"
#include "common/socket_watch.h"

/* Caller-owned; fields are private but for `server`, which the caller fills in while it is closed.
 */
struct time_socket {
    uv_loop_t *loop;
    struct clock_source clock;
    struct sockaddr_storage server;
    socklen_t server_length; /* 0: not known */
    void *context;
    /* A datagram from the server; came_ns is the node's clock when the kernel had it. */
    void (*on_datagram)(void *context, const uint8_t *bytes, size_t length, int64_t came_ns);
    /* All that was there has been told. */
    void (*on_taken)(void *context);
    int socket; /* -1: closed */
    struct socket_watch *watch;
};

/* Opens it unless it is open; says in the log why not. */
int time_socket_open(struct time_socket *time_socket);
void time_socket_close(struct time_socket *time_socket);
/* *left_ns is the node's clock when it left. A packet that can't leave is as good as lost. */
void time_socket_send(struct time_socket *time_socket, const uint8_t *bytes, size_t length,
                      int64_t *left_ns);

#endif
