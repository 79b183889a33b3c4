/* This machine's addresses.
 * Must never ask a name server. Called by enrol. */
#include "collector/enrol/addresses.h"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define HOST_SIZE 256

static bool is_numeric(const char *host)
{
    struct in6_addr number;
    return inet_pton(AF_INET, host, &number) == 1 || inet_pton(AF_INET6, host, &number) == 1;
}

bool addresses_is_loopback(const char *host)
{
    struct in_addr four;
    struct in6_addr six;
    if (inet_pton(AF_INET, host, &four) == 1) {
        return ntohl(four.s_addr) >> 24 == IN_LOOPBACKNET;
    }
    return inet_pton(AF_INET6, host, &six) == 1 && IN6_IS_ADDR_LOOPBACK(&six);
}

/* A numeric address without a zone; "" for what is neither IPv4 nor IPv6. */
static void spell(const struct sockaddr *address, char text[INET6_ADDRSTRLEN])
{
    text[0] = '\0';
    if (address && address->sa_family == AF_INET) {
        (void)inet_ntop(AF_INET, &((const struct sockaddr_in *)(const void *)address)->sin_addr,
                        text, INET6_ADDRSTRLEN);
    } else if (address && address->sa_family == AF_INET6) {
        (void)inet_ntop(AF_INET6, &((const struct sockaddr_in6 *)(const void *)address)->sin6_addr,
                        text, INET6_ADDRSTRLEN);
    }
}

bool addresses_only_one(char *host, size_t size)
{
    struct ifaddrs *list = NULL;
    size_t count = 0;
    if (getifaddrs(&list) != 0) {
        return false;
    }
    for (const struct ifaddrs *one = list; one; one = one->ifa_next) {
        char text[INET6_ADDRSTRLEN];
        spell(one->ifa_addr, text);
        if (text[0] && one->ifa_addr->sa_family == AF_INET && (one->ifa_flags & IFF_UP) &&
            !addresses_is_loopback(text)) {
            count++;
            (void)snprintf(host, size, "%s", text);
        }
    }
    freeifaddrs(list);
    return count == 1;
}

static int name_all(struct text *names, struct error *error)
{
    char name[HOST_SIZE] = "";
    struct ifaddrs *list = NULL;
    int result = text_append_format(names, "IP:127.0.0.1,IP:::1,DNS:localhost");
    if (getifaddrs(&list) != 0) {
        return error_set(error, ERROR_IO, "this machine's addresses can't be read");
    }
    for (const struct ifaddrs *one = list; one; one = one->ifa_next) {
        char text[INET6_ADDRSTRLEN];
        spell(one->ifa_addr, text);
        if (text[0] && !addresses_is_loopback(text)) {
            result |= text_append_format(names, ",IP:%s", text);
        }
    }
    freeifaddrs(list);
    if (gethostname(name, sizeof name - 1) == 0 && name[0] &&
        strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.-") ==
            strlen(name)) {
        result |= text_append_format(names, ",DNS:%s,DNS:%s.local", name, name);
    }
    return result == 0 ? 0 : error_set(error, ERROR_MEMORY, "addresses: out of memory");
}

int addresses_as_names(const char *host, struct text *names, struct error *error)
{
    if (strcmp(host, "0.0.0.0") == 0 || strcmp(host, "::") == 0) {
        return name_all(names, error);
    }
    if (strchr(host, ',') || strlen(host) >= HOST_SIZE) {
        return error_set(error, ERROR_USAGE, "\"%s\": is neither an address nor a name", host);
    }
    if (text_append_format(names, "%s:%s", is_numeric(host) ? "IP" : "DNS", host) != 0) {
        return error_set(error, ERROR_MEMORY, "addresses: out of memory");
    }
    return 0;
}
