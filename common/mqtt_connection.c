/* One connection at a time, for ever coming back: look up, connect, watch, lose, pause, again.
 * Must never block the loop. Called by mqtt_uv.c and by libuv. */
#include "common/mqtt_client.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

#define READS_PER_EVENT 64
#define STEADY_S 5 /* up for so long: the next loss starts again with the least pause */

static bool connected(const struct mqtt_uv *client)
{
    return client->phase == MQTT_CONNECT || client->phase == MQTT_UP || client->phase == MQTT_DRAIN;
}

void mqtt_client_say_why(struct mqtt_uv *client, const char *what, const char *detail)
{
    snprintf(client->why, sizeof client->why, "%.100s%s%.100s", what, detail ? ": " : "",
             detail ? detail : "");
}

static void check_closed(struct mqtt_uv *client)
{
    if (client->phase == MQTT_CLOSING && client->open_count == 0) {
        client->phase = MQTT_CLOSED;
        if (client->on_stopped) {
            client->on_stopped(client->stopped_context);
        }
    }
}

static void on_poll_closed(void *context)
{
    struct mqtt_uv *client = context;
    client->open_count--;
    check_closed(client);
}

static void on_timer_closed(uv_handle_t *handle)
{
    on_poll_closed(handle->data);
}

static void drop_poll(struct mqtt_uv *client)
{
    if (client->poll) {
        socket_watch_close(client->poll);
        client->poll = NULL;
    }
    client->socket = -1;
}

void mqtt_client_begin_close(struct mqtt_uv *client)
{
    bool started = client->phase != MQTT_IDLE;
    client->phase = MQTT_CLOSING;
    if (client->library) {
        mosquitto_disconnect(client->library);
    }
    drop_poll(client);
    if (started) {
        uv_close((uv_handle_t *)&client->timer, on_timer_closed);
        uv_close((uv_handle_t *)&client->housekeeping, on_timer_closed);
        uv_cancel((uv_req_t *)&client->resolve);
    }
    check_closed(client);
}

/* Half to all of the pause, so that a house full of nodes does not come back in one instant. */
static uint64_t jittered(int pause_ms)
{
    uint32_t dice = 0;
    (void)uv_random(NULL, NULL, &dice, sizeof dice, 0, NULL);
    uint64_t half = (uint64_t)pause_ms / 2 + 1;
    return half + dice % half;
}

/* The connection or the attempt is over, for the reason in client->why. */
static void fall(struct mqtt_uv *client)
{
    client->fell = false;
    drop_poll(client);
    if (client->phase == MQTT_DRAIN) {
        mqtt_client_begin_close(client);
        return;
    }
    if (client->phase == MQTT_UP && client->up_s >= STEADY_S) {
        client->pause_ms = client->config.retry_least_ms;
    }
    client->phase = MQTT_PAUSE;
    client->attempts++;
    uv_timer_start(&client->timer, mqtt_client_on_timer, jittered(client->pause_ms), 0);
    client->pause_ms *= 2;
    if (client->pause_ms > client->config.retry_most_ms) {
        client->pause_ms = client->config.retry_most_ms;
    }
    if (client->handlers.on_down) {
        client->handlers.on_down(client->handlers.context, client->why);
    }
}

static void connect_to(struct mqtt_uv *client, const struct addrinfo *addresses)
{
    unsigned count = 0;
    for (const struct addrinfo *a = addresses; a; a = a->ai_next) {
        count++;
    }
    unsigned turn = count ? client->attempts % count : 0;
    const struct addrinfo *address = addresses;
    while (turn-- > 0) {
        address = address->ai_next;
    }
    char numeric[INET6_ADDRSTRLEN] = "";
    if (!address || uv_ip_name(address->ai_addr, numeric, sizeof numeric) < 0) {
        mqtt_client_say_why(client, "the broker's name has no address", NULL);
        fall(client);
        return;
    }
    client->phase = MQTT_CONNECT;
    client->tcp_connected = false;
    client->handshaken = false;
    client->reached = false;
    client->fell = false;
    client->why[0] = '\0';
    uv_timer_start(&client->timer, mqtt_client_on_timer, (uint64_t)client->config.connect_limit_ms,
                   0);
    client->library_depth++;
    int rc = mosquitto_connect_async(client->library, numeric, client->config.port,
                                     client->config.keepalive_s);
    int code = errno;
    client->library_depth--;
    if (rc != MOSQ_ERR_SUCCESS) {
        mqtt_client_say_why(client, "no connection",
                            rc == MOSQ_ERR_ERRNO ? strerror(code) : mosquitto_strerror(rc));
        client->fell = true;
    }
    mqtt_client_settle(client);
}

static void on_resolved(uv_getaddrinfo_t *request, int status, struct addrinfo *addresses)
{
    struct mqtt_uv *client = request->data;
    client->open_count--;
    if (client->phase == MQTT_CLOSING) {
        check_closed(client);
    } else if (status < 0) {
        mqtt_client_say_why(client, "the broker's name could not be looked up",
                            uv_strerror(status));
        fall(client);
    } else {
        connect_to(client, addresses);
    }
    uv_freeaddrinfo(addresses);
}

void mqtt_client_attempt(struct mqtt_uv *client)
{
    client->phase = MQTT_RESOLVE;
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM};
    int rc = mqtt_client_make_library(client);
    if (rc != 0) {
        mqtt_client_say_why(client, "client settings refused",
                            rc > 0 ? mosquitto_strerror(rc) : NULL);
        fall(client);
        return;
    }
    rc = uv_getaddrinfo(client->loop, &client->resolve, on_resolved, client->config.host, NULL,
                        &hints);
    if (rc < 0) {
        mqtt_client_say_why(client, "the broker's name could not be looked up", uv_strerror(rc));
        fall(client);
        return;
    }
    client->open_count++;
}

void mqtt_client_on_timer(uv_timer_t *timer)
{
    struct mqtt_uv *client = timer->data;
    switch (client->phase) {
    case MQTT_PAUSE:
        mqtt_client_attempt(client);
        break;
    case MQTT_CONNECT:
        mqtt_client_say_why(client, "no answer in time", NULL);
        fall(client);
        break;
    case MQTT_UP:
        mqtt_client_settle(client);
        break;
    case MQTT_DRAIN:
        mqtt_client_begin_close(client);
        break;
    case MQTT_IDLE:
    case MQTT_RESOLVE:
    case MQTT_CLOSING:
    case MQTT_CLOSED:
        break;
    }
}

/* A handshake that can't go on: why, before the library covers it up. */
static void look_at_handshake(struct mqtt_uv *client, int status)
{
    client->reached = client->reached || mqtt_client_has_peer(client);
    if (status < 0 || mqtt_client_hung_up(client)) {
        mqtt_client_say_why(client, client->reached ? MQTT_NO_TLS : MQTT_NOBODY, NULL);
        client->fell = true;
    }
}

static void on_event(void *context, int status, int events)
{
    struct mqtt_uv *client = context;
    client->tcp_connected = true;
    /* Only reading takes a handshake on, also when the socket can be written to at last. */
    bool shaking = client->tls && !client->handshaken;
    if (shaking) {
        look_at_handshake(client, status);
    }
    int rc = MOSQ_ERR_SUCCESS;
    client->library_depth++;
    if (status < 0 || (events & UV_WRITABLE)) {
        rc = mosquitto_loop_write(client->library, 1);
    }
    int reads = status < 0 || shaking ? 1 : (events & UV_READABLE) ? READS_PER_EVENT : 0;
    for (int i = 0; i < reads && rc == MOSQ_ERR_SUCCESS && !client->fell; i++) {
        errno = 0;
        rc = mosquitto_loop_read(client->library, 1);
        if (errno == EAGAIN || mosquitto_socket(client->library) != client->socket) {
            break;
        }
    }
    client->library_depth--;
    if (status < 0 && !client->fell) {
        mqtt_client_say_why(client, "socket trouble", uv_strerror(status));
        client->fell = true;
    }
    mqtt_client_settle(client);
}

/* A new socket gets a new watch; the events follow what the library wants to write. */
static int watch(struct mqtt_uv *client)
{
    int socket = mosquitto_socket(client->library);
    if (socket != client->socket) {
        drop_poll(client);
    }
    if (socket < 0) {
        return -1;
    }
    if (!client->poll) {
        struct error error;
        if (socket_watch_new(client->loop, socket, on_event, on_poll_closed, client, &client->poll,
                             &error)) {
            mqtt_client_say_why(client, "socket", error.text);
            return -1;
        }
        client->open_count++;
        client->socket = socket;
    }
    /* What waits to be written can't leave before the handshake is over: watching for room to
     * write would only turn the loop round. */
    bool shaking = client->tls && !client->handshaken;
    bool write = (mosquitto_want_write(client->library) && !shaking) || !client->tcp_connected;
    return socket_watch_set(client->poll, UV_READABLE | (write ? UV_WRITABLE : 0));
}

/* After every call into the library that did not come from one of its callbacks. */
void mqtt_client_settle(struct mqtt_uv *client)
{
    if (client->library_depth > 0 || !connected(client)) {
        return;
    }
    if (client->phase == MQTT_DRAIN && !client->fell && client->unacknowledged == 0 &&
        !mosquitto_want_write(client->library)) {
        mqtt_client_begin_close(client);
        return;
    }
    if (client->fell || watch(client) < 0) {
        if (!client->why[0]) {
            bool shaking = client->tls && !client->handshaken;
            mqtt_client_say_why(client, shaking ? MQTT_NO_TLS : "connection lost", NULL);
        }
        fall(client);
    }
}

void mqtt_client_on_housekeeping(uv_timer_t *timer)
{
    struct mqtt_uv *client = timer->data;
    if (!connected(client)) {
        return;
    }
    client->up_s++;
    client->library_depth++;
    /* The library's keepalive stands still while the machine sleeps; 15 s bounds what that costs */
    (void)mosquitto_loop_misc(client->library);
    client->library_depth--;
    mqtt_client_settle(client);
}

/* A loss found here is told from the timer, so that no handler runs inside its own call. */
void mqtt_client_settle_later(struct mqtt_uv *client)
{
    if (client->library_depth == 0 && (client->fell || watch(client) < 0)) {
        uv_timer_start(&client->timer, mqtt_client_on_timer, 1, 0);
    }
}
