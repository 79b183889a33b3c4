/* The Host header against the connection's own address.
 * Must never look a name up. Called by server.c for every request. */
#include "collector/web/host.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#define HOST_TEXT_SIZE 80

static bool matches(const char *host, const char *name, bool brackets, unsigned port)
{
    char own[HOST_TEXT_SIZE];
    (void)snprintf(own, sizeof own, brackets ? "[%s]" : "%s", name);
    size_t length = strlen(own);
    if (strncasecmp(host, own, length) != 0) {
        return false;
    }
    if (host[length] == '\0') {
        return port == 80;
    }
    char own_port[16];
    (void)snprintf(own_port, sizeof own_port, ":%u", port);
    return strcmp(host + length, own_port) == 0;
}

bool web_host_is_own(const char *host, const struct sockaddr *local)
{
    char name[INET6_ADDRSTRLEN];
    if (!host) {
        return false;
    }
    if (local->sa_family == AF_INET) {
        const struct sockaddr_in *four = (const struct sockaddr_in *)(const void *)local;
        bool loopback = (ntohl(four->sin_addr.s_addr) >> 24) == 127;
        unsigned port = ntohs(four->sin_port);
        return inet_ntop(AF_INET, &four->sin_addr, name, sizeof name) &&
               (matches(host, name, false, port) ||
                (loopback && matches(host, "localhost", false, port)));
    }
    if (local->sa_family == AF_INET6) {
        const struct sockaddr_in6 *six = (const struct sockaddr_in6 *)(const void *)local;
        bool loopback = IN6_IS_ADDR_LOOPBACK(&six->sin6_addr);
        unsigned port = ntohs(six->sin6_port);
        return inet_ntop(AF_INET6, &six->sin6_addr, name, sizeof name) &&
               (matches(host, name, true, port) ||
                (loopback && matches(host, "localhost", false, port)));
    }
    return false;
}
