/* The site's clock for the nodes: RFC 5905 (2010) client/server mode over UDP, on the loop.
 * Must never answer anything but a client's request, nor with more octets than were asked with. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_TIME_SERVER_H
#define ROOMWAKE_COLLECTOR_INGEST_TIME_SERVER_H

#include <stdint.h>
#include <uv.h>

#include "common/error.h"

#define TIME_SERVER_STRATUM 10

struct time_server_settings {
    uv_loop_t *loop;
    const char *address; /* numeric, e.g. "127.0.0.1"; "::" takes IPv4 too */
    uint16_t port;       /* 0 takes a free one */
    int64_t (*site_now_ns)(void *context);
    void *context;
    int64_t started_ns;         /* site time at which the site's clock was last set */
    int64_t root_dispersion_ns; /* how far it may have been off UTC then */
};

/* The site's clock runs free: what it may be off UTC grows by RFC 5905's PHI, 15 ppm. */
#define TIME_SERVER_PHI_PPB 15000

struct time_server_counts {
    uint64_t answered;
    uint64_t ignored;   /* too short or long, another mode or version */
    uint64_t limited;   /* asked too often; some of them were told so */
    uint64_t unstamped; /* answered without the kernel's receive stamp */
    uint64_t unsent;    /* the answer did not leave */
};

struct time_server;

int time_server_new(const struct time_server_settings *settings, struct time_server **server,
                    struct error *error);
/* The site's clock was set anew: clients see it by the reference time. */
void time_server_set_started(struct time_server *server, int64_t started_ns,
                             int64_t root_dispersion_ns);
uint16_t time_server_port(const struct time_server *server);
const struct time_server_counts *time_server_get_counts(const struct time_server *server);
/* Closes the socket; after on_closed (may be NULL) time_server_free is allowed. */
void time_server_close(struct time_server *server, void (*on_closed)(void *context), void *context);
void time_server_free(struct time_server *server);

#endif
