/* Whether a request names this machine by its own address: a foreign page that had its name point
 * here is refused. Must never look a name up. Used by server.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_HOST_H
#define ROOMWAKE_COLLECTOR_WEB_HOST_H

#include <stdbool.h>
#include <sys/socket.h>

/* `host` is the Host header (NULL: none), `local` the connection's own end: the header must be that
 * address and port, or localhost where the address is a loopback one. */
bool web_host_is_own(const char *host, const struct sockaddr *local);

#endif
