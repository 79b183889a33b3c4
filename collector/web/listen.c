/* Binds and listens.
 * Must never listen beyond the address it was given. Called by server.c. */
#include "collector/web/listen.h"

#include <errno.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>
#include <uv.h>

#define BACKLOG 64

union address {
    struct sockaddr any;
    struct sockaddr_in four;
    struct sockaddr_in6 six;
};

static int bind_and_listen(int descriptor, const union address *address, socklen_t length)
{
    int yes = 1;
    if (setsockopt(descriptor, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) != 0 ||
        (address->any.sa_family == AF_INET6 &&
         setsockopt(descriptor, IPPROTO_IPV6, IPV6_V6ONLY, &yes, sizeof yes) != 0)) {
        return -1;
    }
    return bind(descriptor, &address->any, length) == 0 ? listen(descriptor, BACKLOG) : -1;
}

static void describe(const char *host, const union address *address, struct web_listen *listening)
{
    bool six = address->any.sa_family == AF_INET6;
    listening->loopback = six ? IN6_IS_ADDR_LOOPBACK(&address->six.sin6_addr) != 0
                              : (ntohl(address->four.sin_addr.s_addr) >> 24) == 127;
    (void)snprintf(listening->name, sizeof listening->name, six ? "[%s]:%u" : "%s:%u", host,
                   (unsigned)ntohs(six ? address->six.sin6_port : address->four.sin_port));
}

int web_listen_open(const char *host, int port, struct web_listen *listening, struct error *error)
{
    union address address;
    memset(&address, 0, sizeof address);
    bool six = strchr(host, ':') != NULL;
    if ((six ? uv_ip6_addr(host, port, &address.six) : uv_ip4_addr(host, port, &address.four)) !=
        0) {
        return error_set(error, ERROR_USAGE, "page: %s is no numeric address", host);
    }
    socklen_t length = six ? sizeof address.six : sizeof address.four;
    int descriptor = socket(address.any.sa_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (descriptor < 0 || bind_and_listen(descriptor, &address, length) != 0 ||
        getsockname(descriptor, &address.any, &length) != 0) {
        int why = errno;
        if (descriptor >= 0) {
            (void)close(descriptor);
        }
        return error_set(error, why == EADDRINUSE ? ERROR_BUSY : ERROR_NETWORK,
                         "page: %s port %d: %s", host, port, strerror(why));
    }
    listening->descriptor = descriptor;
    describe(host, &address, listening);
    return 0;
}
