/* The socket that the page is served on.
 * Must never listen beyond the address it was given. Used by server.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_LISTEN_H
#define ROOMWAKE_COLLECTOR_WEB_LISTEN_H

#include <stdbool.h>

#include "common/error.h"

#define WEB_LISTEN_NAME_SIZE 80

struct web_listen {
    int descriptor;
    char name[WEB_LISTEN_NAME_SIZE]; /* "127.0.0.1:8080", "[::1]:8080" */
    bool loopback;
};

/* The descriptor is the caller's. */
int web_listen_open(const char *host, int port, struct web_listen *listening, struct error *error);

#endif
