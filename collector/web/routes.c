/* Which request is for whom, and who may make it: the table and the checks before it.
 * Must never let a change through that came from another page, nor one by GET. Called by the HTTP
 * library. */
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

#include "collector/web/assets.h"
#include "collector/web/host.h"
#include "collector/web/reply.h"
#include "collector/web/server_inside.h"
#include "common/json.h"

#define SMALL_BODY 8192u
#define ACT_BODY (80u * 1024u) /* a plan of 32 KiB, quoted */
#define PATH_MOST 256u

static const struct web_route routes[] = {
    {"/api/night", WEB_RIGHT_VIEW, web_answer_night, 0, NULL},
    {"/api/nodes", WEB_RIGHT_VIEW, web_answer_nodes, 0, NULL},
    {"/api/findings", WEB_RIGHT_VIEW, web_answer_findings, 0, NULL},
    {"/api/finding", WEB_RIGHT_VIEW, web_answer_finding, 0, NULL},
    {"/api/events", WEB_RIGHT_VIEW, web_answer_events, 0, NULL},
    {"/api/window", WEB_RIGHT_VIEW, web_answer_window, 0, NULL},
    {"/api/pair", WEB_RIGHT_NONE, NULL, SMALL_BODY, web_post_pair},
    {"/api/mark", WEB_RIGHT_MARK, NULL, SMALL_BODY, web_post_mark},
    {"/api/act", WEB_RIGHT_MARK, NULL, ACT_BODY, web_post_act},
    {"/api/plan", WEB_RIGHT_MARK, NULL, WEB_PLAN_BYTES_MAX, web_post_plan},
    {"/api/check", WEB_RIGHT_MARK, NULL, WEB_PLAN_BYTES_MAX, web_post_check},
};

static const char *header(struct MHD_Connection *connection, const char *name)
{
    return MHD_lookup_connection_value(connection, MHD_HEADER_KIND, name);
}

static struct web_guarded *guarded(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    return info ? info->socket_context : NULL;
}

static bool host_is_own(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    struct sockaddr_storage local;
    socklen_t length = sizeof local;
    return info && getsockname(info->connect_fd, (struct sockaddr *)&local, &length) == 0 &&
           web_host_is_own(header(connection, "Host"), (const struct sockaddr *)&local);
}

/* A change must come from this page itself: a header that no other page may send, and, where the
 * browser says where it is from, from here. */
static bool is_own_page(const struct web_server *server, struct MHD_Connection *connection)
{
    const char *origin = header(connection, "Origin");
    const char *site = header(connection, "Sec-Fetch-Site");
    const char *kind = header(connection, "Content-Type");
    const char *own = header(connection, "X-Roomwake");
    size_t scheme = strlen(server->origin);
    if (!own || strcmp(own, "1") != 0 || !kind ||
        strncmp(kind, "application/json", strlen("application/json")) != 0 ||
        (site && strcmp(site, "same-origin") != 0)) {
        return false;
    }
    return !origin || (strncmp(origin, server->origin, scheme) == 0 &&
                       strcmp(origin + scheme, header(connection, "Host")) == 0);
}

enum web_right web_routes_right(const struct web_server *server, struct MHD_Connection *connection)
{
    return web_access_of(server->access,
                         MHD_lookup_connection_value(connection, MHD_COOKIE_KIND, server->cookie));
}

static enum MHD_Result refuse_right(struct MHD_Connection *connection, enum web_right has)
{
    return has == WEB_RIGHT_NONE
               ? web_reply_words(connection, MHD_HTTP_UNAUTHORIZED, "pair this device first\n")
               : web_reply_words(connection, MHD_HTTP_FORBIDDEN, "this device may look only\n");
}

/* The id of the last line it has: from the browser's own reconnect, or from the page's. */
static const char *last_id(struct MHD_Connection *connection)
{
    const char *id = header(connection, "Last-Event-ID");
    return id ? id : MHD_lookup_connection_value(connection, MHD_GET_ARGUMENT_KIND, "since");
}

static enum MHD_Result send_stream(struct web_server *server, struct MHD_Connection *connection,
                                   void **kept)
{
    (void)kept;
    struct MHD_Response *response =
        web_streams_open(server->streams, connection, last_id(connection));
    if (!response) {
        return web_reply_words(connection, MHD_HTTP_SERVICE_UNAVAILABLE, "too many readers\n");
    }
    return web_reply(connection, MHD_HTTP_OK, "text/event-stream", response);
}

static enum MHD_Result send_plan(struct web_server *server, struct MHD_Connection *connection,
                                 void **kept)
{
    (void)kept;
    const struct web_actions *actions = &server->settings->actions;
    struct text json = {0};
    struct error error;
    if (actions->load_plan(actions->context, &json, &error) != 0) {
        text_free(&json);
        return web_reply_error(connection, &error);
    }
    return web_reply_json(connection, MHD_HTTP_OK, &json);
}

static void on_answered(struct web_question *question)
{
    struct web_request *request = question->context;
    request->answered = true;
    MHD_resume_connection(request->connection);
    web_server_run_soon(request->server);
}

struct arguments {
    struct web_query *query;
    struct error *error;
    bool bad;
};

static enum MHD_Result on_argument(void *context, enum MHD_ValueKind kind, const char *name,
                                   const char *value)
{
    struct arguments *arguments = context;
    (void)kind;
    arguments->bad =
        web_query_take(arguments->query, name, value ? value : "", arguments->error) != 0;
    return arguments->bad ? MHD_NO : MHD_YES;
}

struct web_request *web_request_begin(struct web_server *server, struct MHD_Connection *connection,
                                      const struct web_route *route, void **kept)
{
    struct web_request *request = calloc(1, sizeof *request);
    if (request) {
        request->server = server;
        request->connection = connection;
        request->route = route;
        *kept = request;
    }
    return request;
}

/* A question to the night; its answer goes behind what `begun` holds, which is taken over. */
static enum MHD_Result ask(struct web_server *server, struct MHD_Connection *connection,
                           const struct web_route *route, struct text begun, void **kept)
{
    struct error error;
    struct web_request *request = web_request_begin(server, connection, route, kept);
    if (!request) {
        text_free(&begun);
        return MHD_NO;
    }
    struct web_question *question = &request->question;
    struct arguments arguments = {.query = &question->query, .error = &error};
    question->out = begun;
    web_query_init(&question->query);
    (void)MHD_get_connection_values(connection, MHD_GET_ARGUMENT_KIND, on_argument, &arguments);
    question->answer = route->answer;
    question->answered = on_answered;
    question->context = request;
    if (arguments.bad || web_desk_ask(server->desk, question, &error) != 0) {
        return web_reply_error(connection, &error);
    }
    MHD_suspend_connection(connection);
    return MHD_YES;
}

static enum MHD_Result send_asked(struct web_server *server, struct MHD_Connection *connection,
                                  const struct web_route *route, void **kept)
{
    enum web_right right = web_routes_right(server, connection);
    if (!server->desk || server->ending) {
        return web_reply_words(connection, MHD_HTTP_NOT_FOUND, "there is no night here\n");
    }
    return right < route->right ? refuse_right(connection, right)
                                : ask(server, connection, route, (struct text){0}, kept);
}

/* What this page can do here, and the night, which would else be the next question. */
static enum MHD_Result send_self(struct web_server *server, struct MHD_Connection *connection,
                                 void **kept)
{
    static const char *const words[] = {"none", "view", "mark"};
    static const struct web_route night = {"/api/self", WEB_RIGHT_NONE, web_answer_self, 0, NULL};
    const struct web_actions *actions = &server->settings->actions;
    enum web_right right = web_routes_right(server, connection);
    struct text json = {0};
    (void)text_append_format(
        &json,
        "{\"right\":\"%s\",\"open\":%s,\"live\":%s,\"mark\":%s,"
        "\"act\":%s,\"plan\":%s,\"formats\":[",
        words[right], server->open ? "true" : "false", server->streams ? "true" : "false",
        actions->mark && right == WEB_RIGHT_MARK ? "true" : "false",
        actions->act ? "true" : "false", actions->load_plan ? "true" : "false");
    for (size_t i = 0; actions->write && actions->format(i); i++) {
        (void)text_append_format(&json, "%s\"%s\"", i > 0 ? "," : "", actions->format(i));
    }
    (void)text_append_format(&json, "],\"night\":");
    if (server->desk && !server->ending && right != WEB_RIGHT_NONE) {
        return ask(server, connection, &night, json, kept);
    }
    (void)text_append_format(&json, "null}");
    return web_reply_json(connection, MHD_HTTP_OK, &json);
}

/* What needs no question to a night, where this server offers it. */
struct plain {
    const char *path;
    enum web_right right;
    enum MHD_Result (*send)(struct web_server *server, struct MHD_Connection *connection,
                            void **kept);
};

static const struct plain plains[] = {
    {"/live", WEB_RIGHT_VIEW, send_stream},
    {"/api/export", WEB_RIGHT_VIEW, web_export_begin},
    {"/api/plan", WEB_RIGHT_VIEW, send_plan},
};

static bool is_offered(const struct web_server *server, const struct plain *plain)
{
    const struct web_actions *actions = &server->settings->actions;
    return (plain->send == send_stream && server->streams) ||
           (plain->send == web_export_begin && actions->write) ||
           (plain->send == send_plan && actions->load_plan);
}

static enum MHD_Result handle_get(struct web_server *server, struct MHD_Connection *connection,
                                  const char *url, void **kept)
{
    web_guard_until(guarded(connection), 0);
    for (size_t i = 0; i < WEB_ASSET_COUNT; i++) {
        if (strcmp(url, web_assets[i].path) == 0) {
            return web_reply_asset(connection, &web_assets[i]);
        }
    }
    if (strcmp(url, "/api/self") == 0) {
        return send_self(server, connection, kept);
    }
    for (size_t i = 0; i < sizeof plains / sizeof *plains; i++) {
        enum web_right right = web_routes_right(server, connection);
        if (strcmp(url, plains[i].path) == 0 && is_offered(server, &plains[i])) {
            return right < plains[i].right ? refuse_right(connection, right)
                                           : plains[i].send(server, connection, kept);
        }
    }
    for (size_t i = 0; i < sizeof routes / sizeof *routes; i++) {
        if (routes[i].answer && strcmp(url, routes[i].path) == 0) {
            return send_asked(server, connection, &routes[i], kept);
        }
    }
    return web_reply_words(connection, MHD_HTTP_NOT_FOUND, "there is no such page\n");
}

static bool announces_too_much(struct MHD_Connection *connection, size_t most)
{
    const char *length = header(connection, "Content-Length");
    return length && strtoull(length, NULL, 10) > most;
}

static enum MHD_Result begin_post(struct web_server *server, struct MHD_Connection *connection,
                                  const char *url, void **kept)
{
    const struct web_route *route = NULL;
    for (size_t i = 0; i < sizeof routes / sizeof *routes; i++) {
        route = routes[i].post && strcmp(url, routes[i].path) == 0 ? &routes[i] : route;
    }
    web_guard_until(guarded(connection), uv_now(server->settings->loop) + WEB_GUARD_HEAD_MS);
    if (!route) {
        return web_reply_words(connection, MHD_HTTP_METHOD_NOT_ALLOWED, "this can only be read\n");
    }
    if (!is_own_page(server, connection)) {
        return web_reply_words(connection, MHD_HTTP_FORBIDDEN, "not from this page\n");
    }
    enum web_right right = web_routes_right(server, connection);
    if (right < route->right) {
        return refuse_right(connection, right);
    }
    if (announces_too_much(connection, route->body_max)) {
        return web_reply_words(connection, MHD_HTTP_CONTENT_TOO_LARGE, "too much\n");
    }
    return web_request_begin(server, connection, route, kept) ? MHD_YES : MHD_NO;
}

/* The next call of a request that goes on: a part of its body, the end of it, or an answer. */
static enum MHD_Result go_on(struct web_request *request, const char *upload, size_t *upload_size)
{
    struct MHD_Connection *connection = request->connection;
    if (request->download) {
        return web_export_answer(request);
    }
    if (request->answered) {
        struct web_question *question = &request->question;
        return question->failed ? web_reply_error(connection, &question->error)
                                : web_reply_json(connection, MHD_HTTP_OK, &question->out);
    }
    if (*upload_size > 0) {
        request->too_long =
            request->too_long || request->body.length + *upload_size > request->route->body_max;
        if (!request->too_long) {
            (void)text_append(&request->body, upload, *upload_size);
        }
        *upload_size = 0;
        return MHD_YES;
    }
    web_guard_until(guarded(connection), 0);
    if (request->too_long) {
        return web_reply_words(connection, MHD_HTTP_CONTENT_TOO_LARGE, "too much\n");
    }
    if (request->body.failed || request->body.length == 0) {
        return web_reply_words(connection, MHD_HTTP_BAD_REQUEST, "an empty request\n");
    }
    return request->route->post(request->server, connection, &request->body);
}

enum MHD_Result web_routes_handle(void *context, struct MHD_Connection *connection, const char *url,
                                  const char *method, const char *version, const char *upload,
                                  size_t *upload_size, void **request)
{
    struct web_server *server = context;
    (void)version;
    if (*request) {
        return go_on(*request, upload, upload_size);
    }
    if (!host_is_own(connection)) {
        return web_reply_words(connection, MHD_HTTP_FORBIDDEN,
                               "this is not the name of the page\n");
    }
    if (strnlen(url, PATH_MOST) == PATH_MOST) {
        return web_reply_words(connection, MHD_HTTP_NOT_FOUND, "there is no such page\n");
    }
    if (strcmp(method, "GET") == 0) {
        return handle_get(server, connection, url, request);
    }
    if (strcmp(method, "POST") == 0) {
        return begin_post(server, connection, url, request);
    }
    return web_reply_words(connection, MHD_HTTP_METHOD_NOT_ALLOWED, "this can only be read\n");
}

void web_routes_completed(void *context, struct MHD_Connection *connection, void **kept,
                          enum MHD_RequestTerminationCode why)
{
    struct web_server *server = context;
    struct web_request *request = *kept;
    (void)why;
    web_guard_until(guarded(connection), uv_now(server->settings->loop) + WEB_GUARD_IDLE_MS);
    if (request) {
        if (request->download) {
            web_download_leave(request->download);
        }
        text_free(&request->body);
        text_free(&request->question.out);
        free(request);
        *kept = NULL;
    }
}
