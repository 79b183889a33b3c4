/* The inside of mqtt_uv, shared by its files. Must never be included by anybody else. */
#ifndef ROOMWAKE_COMMON_MQTT_CLIENT_H
#define ROOMWAKE_COMMON_MQTT_CLIENT_H

#include <mosquitto.h>
#include <openssl/ssl.h>

#include "common/mqtt_uv.h"
#include "common/socket_watch.h"

#define MQTT_DRAIN_TIMEOUT_MS 300
#define MQTT_NO_TLS "the broker hung up: no TLS there, or none in common"
#define MQTT_NOBODY "no connection: refused"

enum mqtt_phase {
    MQTT_IDLE,
    MQTT_PAUSE,
    MQTT_RESOLVE,
    MQTT_CONNECT,
    MQTT_UP,
    MQTT_DRAIN,
    MQTT_CLOSING,
    MQTT_CLOSED
};

enum { TEXT_ID, TEXT_HOST, TEXT_USER, TEXT_PASSWORD, TEXT_WILL_TOPIC, TEXT_WILL, TEXT_COUNT };

struct mqtt_uv {
    uv_loop_t *loop;
    struct mqtt_config config;
    char *texts[TEXT_COUNT];
    struct mqtt_handlers handlers;
    struct mosquitto *library;
    SSL_CTX *tls; /* NULL: plain */
    bool handshaken;
    bool reached; /* somebody took the TCP connection */
    enum mqtt_phase phase;
    uv_timer_t timer; /* MQTT_PAUSE: next attempt; MQTT_CONNECT, MQTT_DRAIN: the limit; MQTT_UP: a
                         loss to tell */
    uv_timer_t housekeeping;
    uv_getaddrinfo_t resolve;
    struct socket_watch *poll;
    int socket;     /* the one that `poll` watches a duplicate of */
    int open_count; /* handles and requests that libuv still holds */
    int library_depth;
    bool tcp_connected;
    bool fell;
    int unacknowledged;
    int up_s;
    int pause_ms;
    unsigned attempts; /* takes the next address of a name with several */
    char why[256];
    void (*on_stopped)(void *context);
    void *stopped_context;
};

/* mqtt_connection.c */
void mqtt_client_attempt(struct mqtt_uv *client);
void mqtt_client_begin_close(struct mqtt_uv *client);
void mqtt_client_settle(struct mqtt_uv *client);
void mqtt_client_settle_later(struct mqtt_uv *client);
void mqtt_client_say_why(struct mqtt_uv *client, const char *what, const char *detail);
void mqtt_client_on_timer(uv_timer_t *timer);
void mqtt_client_on_housekeeping(uv_timer_t *timer);
/* mqtt_tls.c: what the connections of this client check; plain where config.tls is false. */
int mqtt_client_make_tls(struct mqtt_uv *client, struct error *error);
bool mqtt_client_has_peer(const struct mqtt_uv *client);
/* Whether the broker closed the connection before the handshake was over: the library doesn't say.
 */
bool mqtt_client_hung_up(const struct mqtt_uv *client);
/* mqtt_uv.c: 0, a library error, or -1 without memory. */
int mqtt_client_make_library(struct mqtt_uv *client);

#endif
