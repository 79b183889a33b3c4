/* The HTTP library in its external epoll mode: its one descriptor and its timeout sit on the loop.
 * Must never change anything, nor answer to a foreign name. Called by session.c and the loop. */
#include "collector/web/server.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "collector/web/assets.h"
#include "collector/web/host.h"
#include "collector/web/listen.h"
#include "collector/web/stream.h"

#define CONNECTIONS_MAX 64u
#define CONNECTIONS_PER_ADDRESS 40u
#define REQUEST_BYTES 16384u
/* Who says nothing, or takes nothing of what is sent, for so long is dropped. */
#define IDLE_S 20u
/* How often all readers are told how things stand: so a page knows that it is connected, and a
 * reader that left is noticed. */
#define BEAT_MS 5000u
/* Changes are sent together so often at most. */
#define WAKE_MS 50u
#define RUNS_AT_END 8

struct web_server {
    struct web_live *live;
    struct web_streams *streams;
    struct MHD_Daemon *daemon;
    char address[WEB_ADDRESS_SIZE];
    bool open;
    uv_poll_t poll;
    uv_timer_t again; /* the library's own timeout */
    uv_timer_t wake;
    uv_timer_t beat;
};

static void on_again(uv_timer_t *timer);

static void run(struct web_server *server)
{
    MHD_UNSIGNED_LONG_LONG wait_ms = 0;
    (void)MHD_run(server->daemon);
    if (MHD_get_timeout(server->daemon, &wait_ms) == MHD_YES) {
        (void)uv_timer_start(&server->again, on_again, wait_ms, 0);
    } else {
        (void)uv_timer_stop(&server->again);
    }
}

static void on_again(uv_timer_t *timer)
{
    run(timer->data);
}

static void on_readable(uv_poll_t *poll, int status, int events)
{
    (void)status;
    (void)events;
    run(poll->data);
}

static void on_wake(uv_timer_t *timer)
{
    struct web_server *server = timer->data;
    web_streams_wake(server->streams, false);
    run(server);
}

static void on_beat(uv_timer_t *timer)
{
    struct web_server *server = timer->data;
    web_streams_wake(server->streams, true);
    run(server);
}

static void on_changed(void *context)
{
    struct web_server *server = context;
    if (!uv_is_active((uv_handle_t *)&server->wake)) {
        (void)uv_timer_start(&server->wake, on_wake, WAKE_MS, 0);
    }
}

static enum MHD_Result queue(struct MHD_Connection *connection, unsigned status, const char *type,
                             struct MHD_Response *response)
{
    static const char *const headers[][2] = {
        {"Content-Security-Policy",
         "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
         "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
        {"X-Content-Type-Options", "nosniff"},
        {"Referrer-Policy", "no-referrer"},
        {"Cross-Origin-Resource-Policy", "same-origin"},
        {"Cache-Control", "no-cache"},
    };
    if (!response) {
        return MHD_NO; /* out of memory: the connection is closed */
    }
    enum MHD_Result result = MHD_add_response_header(response, "Content-Type", type);
    for (size_t i = 0; result == MHD_YES && i < sizeof headers / sizeof *headers; i++) {
        result = MHD_add_response_header(response, headers[i][0], headers[i][1]);
    }
    if (result == MHD_YES && status == MHD_HTTP_METHOD_NOT_ALLOWED) {
        result = MHD_add_response_header(response, "Allow", "GET");
    }
    if (result == MHD_YES) {
        result = MHD_queue_response(connection, status, response);
    }
    MHD_destroy_response(response);
    return result;
}

/* `text` is a constant. */
static enum MHD_Result refuse(struct MHD_Connection *connection, unsigned status, const char *text)
{
    union {
        const void *constant;
        void *bytes;
    } body = {.constant = text};
    return queue(connection, status, "text/plain; charset=utf-8",
                 MHD_create_response_from_buffer(strlen(text), body.bytes, MHD_RESPMEM_PERSISTENT));
}

static enum MHD_Result send_asset(struct MHD_Connection *connection, const struct web_asset *asset)
{
    union {
        const void *constant;
        void *bytes;
    } body = {.constant = asset->bytes};
    return queue(
        connection, MHD_HTTP_OK, asset->type,
        MHD_create_response_from_buffer(asset->length, body.bytes, MHD_RESPMEM_PERSISTENT));
}

/* The id of the last line it has: from the browser's own reconnect, or from the page's. */
static const char *last_id(struct MHD_Connection *connection)
{
    const char *id = MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Last-Event-ID");
    return id ? id : MHD_lookup_connection_value(connection, MHD_GET_ARGUMENT_KIND, "since");
}

static enum MHD_Result send_stream(struct web_server *server, struct MHD_Connection *connection)
{
    struct MHD_Response *response =
        web_streams_open(server->streams, connection, last_id(connection));
    if (!response) {
        return refuse(connection, MHD_HTTP_SERVICE_UNAVAILABLE, "too many readers\n");
    }
    return queue(connection, MHD_HTTP_OK, "text/event-stream", response);
}

static bool host_is_own(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    struct sockaddr_storage local;
    socklen_t length = sizeof local;
    return info && getsockname(info->connect_fd, (struct sockaddr *)&local, &length) == 0 &&
           web_host_is_own(MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Host"),
                           (const struct sockaddr *)&local);
}

static enum MHD_Result on_request(void *context, struct MHD_Connection *connection, const char *url,
                                  const char *method, const char *version, const char *upload,
                                  size_t *upload_size, void **request)
{
    struct web_server *server = context;
    (void)version;
    (void)upload;
    (void)upload_size;
    (void)request;
    if (!host_is_own(connection)) {
        return refuse(connection, MHD_HTTP_FORBIDDEN, "this is not the name of the page\n");
    }
    if (strcmp(method, "GET") != 0) {
        return refuse(connection, MHD_HTTP_METHOD_NOT_ALLOWED, "the page can only be read\n");
    }
    if (strcmp(url, "/live") == 0) {
        return send_stream(server, connection);
    }
    for (size_t i = 0; i < WEB_ASSET_COUNT; i++) {
        if (strcmp(url, web_assets[i].path) == 0) {
            return send_asset(connection, &web_assets[i]);
        }
    }
    return refuse(connection, MHD_HTTP_NOT_FOUND, "there is no such page\n");
}

/* Nothing that the page asks for needs escapes, so that a path is compared as it was sent. */
static size_t keep_escapes(void *context, struct MHD_Connection *connection, char *text)
{
    (void)context;
    (void)connection;
    return strlen(text);
}

static int start_daemon(struct web_server *server, const char *host, int port, struct error *error)
{
    struct web_listen listening;
    if (web_listen_open(host, port, &listening, error) != 0) {
        return -1;
    }
    (void)snprintf(server->address, sizeof server->address, "http://%s/", listening.name);
    server->open = !listening.loopback;
    server->daemon = MHD_start_daemon(
        MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME, 0, NULL, NULL, on_request, server,
        MHD_OPTION_LISTEN_SOCKET, listening.descriptor, MHD_OPTION_CONNECTION_LIMIT,
        CONNECTIONS_MAX, MHD_OPTION_PER_IP_CONNECTION_LIMIT, CONNECTIONS_PER_ADDRESS,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)REQUEST_BYTES, MHD_OPTION_CONNECTION_TIMEOUT,
        IDLE_S, MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_UNESCAPE_CALLBACK, keep_escapes, NULL,
        MHD_OPTION_END);
    if (!server->daemon) {
        (void)close(listening.descriptor);
        return error_set(error, ERROR_NETWORK, "page: the server on %s can't be started",
                         listening.name);
    }
    return 0;
}

static int start_handles(struct web_server *server, uv_loop_t *loop, struct error *error)
{
    const union MHD_DaemonInfo *info =
        MHD_get_daemon_info(server->daemon, MHD_DAEMON_INFO_EPOLL_FD);
    if (!info || uv_poll_init(loop, &server->poll, info->epoll_fd) != 0) {
        return error_set(error, ERROR_NETWORK, "page: the server can't be watched");
    }
    (void)uv_timer_init(loop, &server->again);
    (void)uv_timer_init(loop, &server->wake);
    (void)uv_timer_init(loop, &server->beat);
    server->poll.data = server;
    server->again.data = server;
    server->wake.data = server;
    server->beat.data = server;
    (void)uv_poll_start(&server->poll, UV_READABLE, on_readable);
    (void)uv_timer_start(&server->beat, on_beat, BEAT_MS, BEAT_MS);
    return 0;
}

int web_server_new(uv_loop_t *loop, const char *host, int port, struct web_live *live,
                   struct web_server **out, struct error *error)
{
    struct web_server *server = calloc(1, sizeof *server);
    if (!server) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    server->live = live;
    if (web_streams_new(live, &server->streams, error) != 0 ||
        start_daemon(server, host, port, error) != 0 || start_handles(server, loop, error) != 0) {
        if (server->daemon) {
            MHD_stop_daemon(server->daemon);
        }
        web_server_free(server);
        return -1;
    }
    web_live_listen(live, on_changed, server);
    *out = server;
    return 0;
}

const char *web_server_address(const struct web_server *server)
{
    return server->address;
}

bool web_server_is_open(const struct web_server *server)
{
    return server->open;
}

/* A stream that sleeps must not see the daemon stop: all are woken to their end first. */
void web_server_close(struct web_server *server)
{
    if (!server || !server->daemon) {
        return;
    }
    web_live_listen(server->live, NULL, NULL);
    web_streams_end(server->streams);
    for (int i = 0; i < RUNS_AT_END; i++) {
        (void)MHD_run(server->daemon);
    }
    uv_close((uv_handle_t *)&server->poll, NULL);
    uv_close((uv_handle_t *)&server->again, NULL);
    uv_close((uv_handle_t *)&server->wake, NULL);
    uv_close((uv_handle_t *)&server->beat, NULL);
    MHD_stop_daemon(server->daemon);
    server->daemon = NULL;
}

void web_server_free(struct web_server *server)
{
    if (server) {
        web_streams_free(server->streams);
        free(server);
    }
}
