/* The HTTP library in its external epoll mode: its one descriptor and its timeout sit on the loop.
 * Must never wait, nor decide who may what: routes.c does. Called by record/ and the loop. */
#include "collector/web/server.h"

#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "collector/web/listen.h"
#include "collector/web/server_inside.h"

#define CONNECTIONS_MAX 256u
#define CONNECTIONS_PER_ADDRESS 64u
#define REQUEST_BYTES 16384u
/* Who says nothing, or takes nothing of what is sent, for so long is dropped. */
#define IDLE_S 20u
/* How often all readers are told how things stand: so a page knows that it is connected, and a
 * reader that left is noticed. */
#define BEAT_MS 5000u
/* Changes are sent together so often at most. */
#define WAKE_MS 40u
#define WATCH_MS 1000u
#define RUNS_AT_END 8
/* So much of what is sent to one reader waits in the system, which would take megabytes. */
#define UNSENT_BYTES (128 * 1024)

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

void web_server_run_soon(struct web_server *server)
{
    if (!server->ending) {
        (void)uv_timer_start(&server->again, on_again, 0, 0);
    }
}

static void on_resumed(void *context)
{
    web_server_run_soon(context);
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

static void on_watch(uv_timer_t *timer)
{
    struct web_server *server = timer->data;
    web_guard_look(server->guard, uv_now(server->settings->loop));
}

static void on_changed(void *context)
{
    struct web_server *server = context;
    if (!uv_is_active((uv_handle_t *)&server->wake)) {
        (void)uv_timer_start(&server->wake, on_wake, WAKE_MS, 0);
    }
}

static void on_connection(void *context, struct MHD_Connection *connection, void **kept,
                          enum MHD_ConnectionNotificationCode code)
{
    struct web_server *server = context;
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    if (code == MHD_CONNECTION_NOTIFY_STARTED) {
        static const int unsent = UNSENT_BYTES;
        (void)setsockopt(info->connect_fd, SOL_SOCKET, SO_SNDBUF, &unsent, sizeof unsent);
        *kept = web_guard_open(server->guard, info->connect_fd, uv_now(server->settings->loop));
    } else {
        web_guard_close(server->guard, *kept);
        *kept = NULL;
    }
}

/* Nothing that the page asks for needs escapes, so that a path is compared as it was sent. */
static size_t keep_escapes(void *context, struct MHD_Connection *connection, char *text)
{
    (void)context;
    (void)connection;
    return strlen(text);
}

static struct MHD_Daemon *start_daemon(struct web_server *server, int descriptor)
{
    unsigned flags = MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME;
    const struct web_settings *settings = server->settings;
    union {
        const char *constant;
        void *pointer;
    } certificate = {.constant = settings->certificate}, key = {.constant = settings->private_key};
    struct MHD_OptionItem tls[] = {
        {MHD_OPTION_HTTPS_MEM_CERT, 0, certificate.pointer},
        {MHD_OPTION_HTTPS_MEM_KEY, 0, key.pointer},
        {MHD_OPTION_END, 0, NULL},
    };
    struct MHD_OptionItem none[] = {{MHD_OPTION_END, 0, NULL}};
    return MHD_start_daemon(
        settings->certificate ? flags | MHD_USE_TLS : flags, 0, NULL, NULL, web_routes_handle,
        server, MHD_OPTION_LISTEN_SOCKET, descriptor, MHD_OPTION_CONNECTION_LIMIT, CONNECTIONS_MAX,
        MHD_OPTION_PER_IP_CONNECTION_LIMIT, CONNECTIONS_PER_ADDRESS,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)REQUEST_BYTES, MHD_OPTION_CONNECTION_TIMEOUT,
        IDLE_S, MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_UNESCAPE_CALLBACK, keep_escapes, NULL,
        MHD_OPTION_NOTIFY_COMPLETED, web_routes_completed, server, MHD_OPTION_NOTIFY_CONNECTION,
        on_connection, server, MHD_OPTION_ARRAY, settings->certificate ? tls : none,
        MHD_OPTION_END);
}

static int open_daemon(struct web_server *server, struct error *error)
{
    struct web_listen listening;
    const struct web_settings *settings = server->settings;
    if (web_listen_open(settings->host, settings->port, &listening, error) != 0) {
        return -1;
    }
    const char *scheme = settings->certificate ? "https://" : "http://";
    (void)snprintf(server->origin, sizeof server->origin, "%s", scheme);
    (void)snprintf(server->address, sizeof server->address, "%s%s/", scheme, listening.name);
    (void)snprintf(server->cookie, sizeof server->cookie, "roomwake-%s",
                   strrchr(listening.name, ':') + 1);
    server->open = !listening.loopback || settings->pair_always;
    if (web_access_new(!server->open, &server->access, error) != 0) {
        (void)close(listening.descriptor);
        return -1;
    }
    server->daemon = start_daemon(server, listening.descriptor);
    if (!server->daemon) {
        (void)close(listening.descriptor);
        return error_set(error, ERROR_NETWORK, "page: the server on %s can't be started%s",
                         listening.name,
                         settings->certificate ? " (are certificate and key a pair?)" : "");
    }
    return 0;
}

static int start_handles(struct web_server *server, struct error *error)
{
    uv_loop_t *loop = server->settings->loop;
    const union MHD_DaemonInfo *info =
        MHD_get_daemon_info(server->daemon, MHD_DAEMON_INFO_EPOLL_FD);
    if (!info || uv_poll_init(loop, &server->poll, info->epoll_fd) != 0) {
        return error_set(error, ERROR_NETWORK, "page: the server can't be watched");
    }
    uv_timer_t *const timers[] = {&server->again, &server->wake, &server->beat, &server->watch};
    for (size_t i = 0; i < sizeof timers / sizeof *timers; i++) {
        (void)uv_timer_init(loop, timers[i]);
        timers[i]->data = server;
    }
    server->poll.data = server;
    (void)uv_poll_start(&server->poll, UV_READABLE, on_readable);
    (void)uv_timer_start(&server->watch, on_watch, WATCH_MS, WATCH_MS);
    if (server->streams) {
        (void)uv_timer_start(&server->beat, on_beat, BEAT_MS, BEAT_MS);
    }
    return 0;
}

static int build(struct web_server *server, struct error *error)
{
    const struct web_settings *settings = server->settings;
    const struct web_downloads_settings downloads = {.loop = settings->loop,
                                                     .write = settings->actions.write,
                                                     .context = settings->actions.context,
                                                     .resumed = on_resumed,
                                                     .resumed_context = server};
    if (web_guard_new(&server->guard, error) != 0 ||
        (settings->live && web_streams_new(settings->live, &server->streams, error) != 0) ||
        open_daemon(server, error) != 0 || start_handles(server, error) != 0) {
        return -1;
    }
    if (settings->night_path &&
        web_desk_new(settings->loop, settings->night_path, &server->desk, error) != 0) {
        return -1;
    }
    return settings->actions.write ? web_downloads_new(&downloads, &server->downloads, error) : 0;
}

int web_server_new(const struct web_settings *settings, struct web_server **out,
                   struct error *error)
{
    struct web_server *server = calloc(1, sizeof *server);
    if (!server) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    server->copy = *settings;
    server->settings = &server->copy;
    if (build(server, error) != 0) {
        web_server_close(server);
        (void)uv_run(settings->loop, UV_RUN_NOWAIT); /* its handles are inside of it */
        web_server_free(server);
        return -1;
    }
    if (settings->live) {
        web_live_listen(settings->live, on_changed, server);
    }
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

const char *web_server_code(const struct web_server *server, enum web_right right)
{
    return web_access_code(server->access, right);
}

static void close_handles(struct web_server *server)
{
    if (!server->poll.data) {
        return;
    }
    uv_close((uv_handle_t *)&server->poll, NULL);
    uv_close((uv_handle_t *)&server->again, NULL);
    uv_close((uv_handle_t *)&server->wake, NULL);
    uv_close((uv_handle_t *)&server->beat, NULL);
    uv_close((uv_handle_t *)&server->watch, NULL);
}

/* A connection that sleeps must not see the daemon stop: all are woken to their end first. */
void web_server_close(struct web_server *server)
{
    if (!server || server->ending) {
        return;
    }
    server->ending = true;
    if (server->settings->live) {
        web_live_listen(server->settings->live, NULL, NULL);
    }
    web_desk_close(server->desk);
    web_downloads_end(server->downloads);
    if (server->streams) {
        web_streams_end(server->streams);
    }
    for (int i = 0; server->daemon && i < RUNS_AT_END; i++) {
        (void)MHD_run(server->daemon);
    }
    close_handles(server);
    if (server->daemon) {
        MHD_stop_daemon(server->daemon);
    }
    web_downloads_close(server->downloads);
}

void web_server_free(struct web_server *server)
{
    if (server) {
        web_streams_free(server->streams);
        web_downloads_free(server->downloads);
        web_desk_free(server->desk);
        web_guard_free(server->guard);
        web_access_free(server->access);
        free(server);
    }
}
