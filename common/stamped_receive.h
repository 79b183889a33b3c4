/* One datagram with the moment it came, by the kernel's stamp where there is
 * one: waking up takes longer than the wire. Must never wait. Used by the
 * node's time client. */
#ifndef ROOMWAKE_COMMON_STAMPED_RECEIVE_H
#define ROOMWAKE_COMMON_STAMPED_RECEIVE_H

#include <stddef.h>
#include <stdint.h>
#include <sys/socket.h>
#include <sys/types.h>

#include "common/clock.h"

/* Asks the kernel for stamps; without them the time of reading counts. */
void stamped_receive_prepare(int socket);
/* As recvfrom, and *came_ns on the node's monotonic clock. */
ssize_t stamped_receive(int socket, const struct clock_source *clock, void *bytes, size_t size,
                        struct sockaddr_storage *from, int64_t *came_ns);

#endif
