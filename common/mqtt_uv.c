/* libmosquitto on a libuv loop: one client, as its owner sees it.
 * Must never retry in a hurry, nor call a handler after stop ended. Called by both programs. */
#include "common/mqtt_uv.h"

#include <openssl/sha.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/mqtt_client.h"

#define PAYLOAD_MAX 268435455u /* MQTT 3.1.1 sec. 2.2.3: the remaining length */

static void on_connect(struct mosquitto *library, void *context, int rc)
{
    struct mqtt_uv *client = context;
    (void)library;
    if (rc != 0) {
        mqtt_client_say_why(client, "the broker refused", mosquitto_connack_string(rc));
        return;
    }
    if (client->phase != MQTT_CONNECT) {
        return;
    }
    client->phase = MQTT_UP;
    client->up_s = 0;
    client->why[0] = '\0';
    uv_timer_stop(&client->timer);
    if (client->handlers.on_up) {
        client->handlers.on_up(client->handlers.context);
    }
}

/* The library has closed its socket by now: only noted here, acted upon when its call is over. */
static void on_disconnect(struct mosquitto *library, void *context, int rc)
{
    struct mqtt_uv *client = context;
    (void)library;
    client->fell = true;
    if (!client->why[0]) {
        mqtt_client_say_why(client,
                            client->phase == MQTT_CONNECT ? "no connection" : "connection lost",
                            mosquitto_strerror(rc));
    }
}

static void on_message(struct mosquitto *library, void *context,
                       const struct mosquitto_message *message)
{
    struct mqtt_uv *client = context;
    (void)library;
    if (client->phase == MQTT_UP && client->handlers.on_message && message->payloadlen >= 0) {
        client->handlers.on_message(client->handlers.context, message->topic, message->payload,
                                    (size_t)message->payloadlen, message->retain);
    }
}

static void on_publish(struct mosquitto *library, void *context, int message_id)
{
    struct mqtt_uv *client = context;
    (void)library;
    if (client->unacknowledged > 0) {
        client->unacknowledged--;
    }
    if (client->phase == MQTT_UP && client->handlers.on_acknowledged) {
        client->handlers.on_acknowledged(client->handlers.context, message_id);
    }
}

static int use_tls(struct mqtt_uv *client)
{
    int rc = mosquitto_int_option(client->library, MOSQ_OPT_SSL_CTX_WITH_DEFAULTS, 0);
    return rc ? rc : mosquitto_void_option(client->library, MOSQ_OPT_SSL_CTX, client->tls);
}

/* With a clean session nothing outlives a connection, also not the library's own queue, which is
 * unbounded: a new library client for each attempt. Otherwise the queue is kept and sent again. */
int mqtt_client_make_library(struct mqtt_uv *client)
{
    if (client->library && !client->config.clean_session) {
        return 0;
    }
    const struct mqtt_config *config = &client->config;
    mosquitto_destroy(client->library);
    client->unacknowledged = 0;
    client->library = mosquitto_new(config->client_id, config->clean_session, client);
    if (!client->library) {
        return -1;
    }
    mosquitto_connect_callback_set(client->library, on_connect);
    mosquitto_disconnect_callback_set(client->library, on_disconnect);
    mosquitto_message_callback_set(client->library, on_message);
    mosquitto_publish_callback_set(client->library, on_publish);
    int rc = client->tls ? use_tls(client) : 0;
    if (rc == 0 && config->username) {
        rc = mosquitto_username_pw_set(client->library, config->username, config->password);
    }
    if (rc == 0 && config->will_topic) {
        const char *payload = config->will_payload ? config->will_payload : "";
        rc = mosquitto_will_set(client->library, config->will_topic, (int)strlen(payload), payload,
                                1, config->will_retain);
    }
    return rc;
}

static int copy_text(struct mqtt_uv *client, int which, const char **text)
{
    if (*text) {
        client->texts[which] = strdup(*text);
        *text = client->texts[which];
        return *text ? 0 : -1;
    }
    return 0;
}

/* The id, and where there is a password an ending that only its owner can know. */
static int copy_id(struct mqtt_uv *client)
{
    struct mqtt_config *own = &client->config;
    if (!own->client_id || !own->password) {
        return copy_text(client, TEXT_ID, &own->client_id);
    }
    unsigned char hash[SHA256_DIGEST_LENGTH];
    char *id = NULL;
    SHA256((const unsigned char *)own->password, strlen(own->password), hash);
    if (asprintf(&id, "%s-%02x%02x%02x%02x%02x%02x%02x%02x", own->client_id, hash[0], hash[1],
                 hash[2], hash[3], hash[4], hash[5], hash[6], hash[7]) < 0) {
        return -1;
    }
    client->texts[TEXT_ID] = id;
    own->client_id = id;
    return 0;
}

int mqtt_uv_new(uv_loop_t *loop, const struct mqtt_config *config,
                const struct mqtt_handlers *handlers, struct mqtt_uv **out, struct error *error)
{
    struct mqtt_uv *client = calloc(1, sizeof *client);
    if (!client) {
        return error_set(error, ERROR_MEMORY, "broker: out of memory");
    }
    mosquitto_lib_init();
    client->loop = loop;
    client->handlers = *handlers;
    client->socket = -1;
    client->config = *config;
    struct mqtt_config *own = &client->config;
    own->keepalive_s = own->keepalive_s ? own->keepalive_s : 15;
    own->retry_least_ms = own->retry_least_ms ? own->retry_least_ms : 250;
    own->retry_most_ms = own->retry_most_ms ? own->retry_most_ms : 10000;
    own->connect_limit_ms = own->connect_limit_ms ? own->connect_limit_ms : 5000;
    client->pause_ms = own->retry_least_ms;
    if (copy_id(client) || copy_text(client, TEXT_HOST, &own->host) ||
        copy_text(client, TEXT_USER, &own->username) ||
        copy_text(client, TEXT_PASSWORD, &own->password) ||
        copy_text(client, TEXT_WILL_TOPIC, &own->will_topic) ||
        copy_text(client, TEXT_WILL, &own->will_payload)) {
        mqtt_uv_free(client);
        return error_set(error, ERROR_MEMORY, "broker: out of memory");
    }
    if (mqtt_client_make_tls(client, error) != 0) {
        mqtt_uv_free(client);
        return -1;
    }
    own->authority = NULL; /* read by now, and not ours */
    own->authority_path = NULL;
    int rc = mqtt_client_make_library(client);
    if (rc != 0) {
        mqtt_uv_free(client);
        return error_set(error, ERROR_USAGE, "broker: client settings refused: %s",
                         rc > 0 ? mosquitto_strerror(rc) : "client id or memory");
    }
    /* A write to a connection that is gone must be an error, whatever the library's version does */
    (void)signal(SIGPIPE, SIG_IGN);
    *out = client;
    return 0;
}

void mqtt_uv_start(struct mqtt_uv *client)
{
    if (client->phase != MQTT_IDLE) {
        return;
    }
    uv_timer_init(client->loop, &client->timer);
    uv_timer_init(client->loop, &client->housekeeping);
    client->timer.data = client;
    client->housekeeping.data = client;
    client->resolve.data = client;
    client->open_count = 2;
    uv_timer_start(&client->housekeeping, mqtt_client_on_housekeeping, 1000, 1000);
    mqtt_client_attempt(client);
}

bool mqtt_uv_is_up(const struct mqtt_uv *client)
{
    return client->phase == MQTT_UP;
}

int mqtt_uv_publish(struct mqtt_uv *client, const char *topic, const void *payload, size_t length,
                    int qos, bool retain, int *message_id, struct error *error)
{
    if (client->phase != MQTT_UP) {
        return error_set(error, ERROR_STATE, "%s: not connected to the broker", topic);
    }
    if (length > PAYLOAD_MAX) {
        return error_set(error, ERROR_RANGE, "%s: message too long", topic);
    }
    int mid = 0;
    client->unacknowledged++; /* before the call: QoS 0 may be told as sent within it */
    client->library_depth++;
    int rc = mosquitto_publish(client->library, &mid, topic, (int)length, payload, qos, retain);
    client->library_depth--;
    bool kept = qos > 0 && rc == MOSQ_ERR_NO_CONN; /* the library queued it all the same */
    mqtt_client_settle_later(client);
    if (rc != MOSQ_ERR_SUCCESS && !kept) {
        client->unacknowledged -= client->unacknowledged > 0;
        return error_set(error, ERROR_NETWORK, "%s: %s", topic, mosquitto_strerror(rc));
    }
    if (message_id) {
        *message_id = mid;
    }
    return 0;
}

int mqtt_uv_subscribe(struct mqtt_uv *client, const char *filter, int qos, struct error *error)
{
    if (client->phase != MQTT_UP) {
        return error_set(error, ERROR_STATE, "%s: not connected to the broker", filter);
    }
    client->library_depth++;
    int rc = mosquitto_subscribe(client->library, NULL, filter, qos);
    client->library_depth--;
    mqtt_client_settle_later(client);
    if (rc != MOSQ_ERR_SUCCESS) {
        return error_set(error, ERROR_NETWORK, "%s: %s", filter, mosquitto_strerror(rc));
    }
    return 0;
}

void mqtt_uv_stop(struct mqtt_uv *client, void (*on_stopped)(void *context), void *context)
{
    if (client->on_stopped || client->phase >= MQTT_DRAIN) {
        return;
    }
    client->on_stopped = on_stopped;
    client->stopped_context = context;
    if (client->phase == MQTT_UP) {
        client->phase = MQTT_DRAIN;
        uv_timer_start(&client->timer, mqtt_client_on_timer, MQTT_DRAIN_TIMEOUT_MS, 0);
        mqtt_client_settle(client);
    } else {
        mqtt_client_begin_close(client);
    }
}

void mqtt_uv_free(struct mqtt_uv *client)
{
    if (!client) {
        return;
    }
    mosquitto_destroy(client->library);
    SSL_CTX_free(client->tls);
    for (int i = 0; i < TEXT_COUNT; i++) {
        free(client->texts[i]);
    }
    free(client);
    mosquitto_lib_cleanup();
}
