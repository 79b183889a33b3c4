/* The server's parts, shared by server.c, routes.c, export.c, post.c and reply.c.
 * Must never be included by anything else. */
#ifndef ROOMWAKE_COLLECTOR_WEB_SERVER_INSIDE_H
#define ROOMWAKE_COLLECTOR_WEB_SERVER_INSIDE_H

#include <microhttpd.h>

#include "collector/web/desk.h"
#include "collector/web/download.h"
#include "collector/web/guard.h"
#include "collector/web/server.h"
#include "collector/web/stream.h"

#define WEB_COOKIE_SIZE 24

struct web_server {
    const struct web_settings *settings;
    struct web_settings copy; /* what `settings` points to */
    struct web_access *access;
    struct web_guard *guard;
    struct web_desk *desk;       /* NULL: no night */
    struct web_streams *streams; /* NULL: nothing is live */
    struct web_downloads *downloads;
    struct MHD_Daemon *daemon;
    char address[WEB_ADDRESS_SIZE];
    char origin[WEB_ADDRESS_SIZE]; /* "http://", before the Host */
    char cookie[WEB_COOKIE_SIZE];
    bool open;
    bool ending;
    uv_poll_t poll;
    uv_timer_t again; /* the library's own timeout */
    uv_timer_t wake;
    uv_timer_t beat;
    uv_timer_t watch; /* connections that take too long */
};

enum web_route_kind { WEB_ROUTE_ASK, WEB_ROUTE_POST };

struct web_route {
    const char *path;
    enum web_right right;
    web_answer answer; /* a question for the desk; NULL: a POST */
    size_t body_max;
    enum MHD_Result (*post)(struct web_server *server, struct MHD_Connection *connection,
                            const struct text *body);
};

/* A request that goes on beyond the library's first call. */
struct web_request {
    struct web_server *server;
    struct MHD_Connection *connection;
    const struct web_route *route;
    struct text body;
    bool too_long;
    bool answered;
    struct web_question question;
    struct web_download *download; /* an export that is still to be answered */
};

/* Kept in *kept until the request is completed; NULL: out of memory. */
struct web_request *web_request_begin(struct web_server *server, struct MHD_Connection *connection,
                                      const struct web_route *route, void **kept);

/* The library's handlers. */
enum MHD_Result web_routes_handle(void *server, struct MHD_Connection *connection, const char *url,
                                  const char *method, const char *version, const char *upload,
                                  size_t *upload_size, void **request);
void web_routes_completed(void *server, struct MHD_Connection *connection, void **request,
                          enum MHD_RequestTerminationCode why);
/* GET /api/export?format=F, with check=1 only whether it could be written; and its answer. */
enum MHD_Result web_export_begin(struct web_server *server, struct MHD_Connection *connection,
                                 void **kept);
enum MHD_Result web_export_answer(struct web_request *request);
/* What this connection's cookie allows. */
enum web_right web_routes_right(const struct web_server *server, struct MHD_Connection *connection);

/* The POST handlers of the table in routes.c. */
enum MHD_Result web_post_pair(struct web_server *server, struct MHD_Connection *connection,
                              const struct text *body);
enum MHD_Result web_post_mark(struct web_server *server, struct MHD_Connection *connection,
                              const struct text *body);
enum MHD_Result web_post_act(struct web_server *server, struct MHD_Connection *connection,
                             const struct text *body);
enum MHD_Result web_post_plan(struct web_server *server, struct MHD_Connection *connection,
                              const struct text *body);
enum MHD_Result web_post_check(struct web_server *server, struct MHD_Connection *connection,
                               const struct text *body);

/* Lets the library run soon: a connection was resumed. */
void web_server_run_soon(struct web_server *server);

#endif
