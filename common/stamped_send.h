/* One datagram sent, with the moment it left, by the kernel's stamp where there is one: the way
 * through the kernel takes longer than the wire. Must never wait. Used by both ends of the time
 * exchange. */
#ifndef ROOMWAKE_COMMON_STAMPED_SEND_H
#define ROOMWAKE_COMMON_STAMPED_SEND_H

#include <stddef.h>
#include <stdint.h>
#include <sys/socket.h>
#include <sys/types.h>

#include "common/clock.h"

/* Asks the kernel for stamps; without them the time before sending counts. What comes too late
 * makes the socket readable out of band (POLLPRI): take it off with stamped_send_drain. */
void stamped_send_prepare(int socket);
/* As sendto, and *left_ns on `clock`'s monotonic clock. */
ssize_t stamped_send(int socket, const struct clock_source *clock, const void *bytes, size_t length,
                     const struct sockaddr_storage *to, socklen_t to_length, int64_t *left_ns);
void stamped_send_drain(int socket);

#endif
