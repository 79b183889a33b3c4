/* libmosquitto on a libuv loop: connect, publish, subscribe, reconnect with back-off and jitter.
 * Must never block the loop (names are resolved by uv_getaddrinfo) and knows no topic. One thread,
 * the loop's, owns it. Used by both programs. */
#ifndef ROOMWAKE_COMMON_MQTT_UV_H
#define ROOMWAKE_COMMON_MQTT_UV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <uv.h>

#include "common/error.h"
#include "common/text.h"

/* Copied by mqtt_uv_new; NULL where not wanted. With clean_session nothing outlives a connection:
 * what was not acknowledged when it fell is forgotten, and the caller says it again. Without, the
 * library keeps and sends it again after the next on_up. */
struct mqtt_config {
    const char *client_id;
    const char *host;
    int port;
    const char *username;
    const char *password;  /* where there is one, the client id gets an ending that others can't
                              guess: who knew it could have the broker drop this client */
    bool tls;              /* TLS 1.2 or newer; the host's certificate is checked */
    const char *authority; /* whose certificates are believed: PEM text; */
    const char *authority_path; /* or a PEM file; neither: those that this machine believes */
    const char *will_topic;
    const char *will_payload;
    bool will_retain;
    bool clean_session;
    int keepalive_s;      /* 0 takes 15 */
    int retry_least_ms;   /* 0 takes 250: first pause before a new attempt, doubled up to retry_most
                           */
    int retry_most_ms;    /* 0 takes 10000 */
    int connect_limit_ms; /* 0 takes 5000: an attempt unanswered for so long is given up */
};

/* Called on the loop's thread. Any may be NULL. A handler may publish and subscribe, but must not
 * free the client. */
struct mqtt_handlers {
    void *context;
    void (*on_up)(void *context);
    void (*on_down)(void *context, const char *why); /* once per loss or failed attempt */
    void (*on_message)(void *context, const char *topic, const uint8_t *payload, size_t length,
                       bool retained);
    void (*on_acknowledged)(void *context, int message_id); /* PUBACK of a QoS 1 publish */
};

struct mqtt_uv;

/* "mqtt://[user:password@]host[:port]", or "mqtts://...[?authority=FILE]" with TLS -> fields; host
 * and the others point into *storage, which the caller frees. Port 1883, or 8883, where none is
 * told. */
int mqtt_url_parse(const char *url, struct mqtt_config *config, char **storage,
                   struct error *error);
/* A text as it may stand within such an address. */
int mqtt_url_encode(const char *text, struct text *out);
/* The address again, with neither user nor password nor file, for people to read. */
void mqtt_url_plain(const struct mqtt_config *config, char *text, size_t size);

int mqtt_uv_new(uv_loop_t *loop, const struct mqtt_config *config,
                const struct mqtt_handlers *handlers, struct mqtt_uv **client, struct error *error);
/* Starts to connect, and from then on reconnects by itself until stopped. */
void mqtt_uv_start(struct mqtt_uv *client);
bool mqtt_uv_is_up(const struct mqtt_uv *client);
/* Only while up: ERROR_STATE otherwise. *message_id may be NULL. */
int mqtt_uv_publish(struct mqtt_uv *client, const char *topic, const void *payload, size_t length,
                    int qos, bool retain, int *message_id, struct error *error);
/* Only while up; to be said again in every on_up. */
int mqtt_uv_subscribe(struct mqtt_uv *client, const char *filter, int qos, struct error *error);
/* Lets what is queued leave (at most ~300 ms), disconnects in order, closes all handles, then calls
 * on_stopped, after which mqtt_uv_free is allowed. */
void mqtt_uv_stop(struct mqtt_uv *client, void (*on_stopped)(void *context), void *context);
void mqtt_uv_free(struct mqtt_uv *client);

#endif
