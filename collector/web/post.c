/* The few changes that the page can make: pairing a device, a mark, an act, and the plan's site
 * file. Must never change anything that `actions` does not offer. Called by routes.c, after its
 * checks.
 */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

#include "collector/web/body.h"
#include "collector/web/reply.h"
#include "collector/web/server_inside.h"
#include "common/json.h"

#define PAIRED_FOR_S 86400
#define NS_PER_SECOND 1e9

/* Who asks, as far as guesses are counted: an IPv6 house is one. */
static void address_key(struct MHD_Connection *connection, char key[WEB_ADDRESS_KEY_SIZE])
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    key[0] = '\0';
    if (info && info->client_addr->sa_family == AF_INET) {
        const struct sockaddr_in *four =
            (const struct sockaddr_in *)(const void *)info->client_addr;
        (void)inet_ntop(AF_INET, &four->sin_addr, key, WEB_ADDRESS_KEY_SIZE);
    } else if (info && info->client_addr->sa_family == AF_INET6) {
        struct in6_addr network =
            ((const struct sockaddr_in6 *)(const void *)info->client_addr)->sin6_addr;
        memset(network.s6_addr + 8, 0, 8);
        (void)inet_ntop(AF_INET6, &network, key, WEB_ADDRESS_KEY_SIZE);
    }
}

static enum MHD_Result send_paired(struct web_server *server, struct MHD_Connection *connection,
                                   const char *token, enum web_right right)
{
    static const char *const body[] = {"", "{\"right\":\"view\"}", "{\"right\":\"mark\"}"};
    char cookie[160];
    (void)snprintf(cookie, sizeof cookie, "%s=%s; HttpOnly; SameSite=Strict; Path=/; Max-Age=%d%s",
                   server->cookie, token, PAIRED_FOR_S,
                   server->settings->certificate ? "; Secure" : "");
    struct MHD_Response *response = MHD_create_response_from_buffer(
        /* NOLINTNEXTLINE(performance-no-int-to-ptr): the library's own type has no const. */
        strlen(body[right]), (void *)(uintptr_t)body[right], MHD_RESPMEM_PERSISTENT);
    if (response && MHD_add_response_header(response, "Set-Cookie", cookie) != MHD_YES) {
        MHD_destroy_response(response);
        return MHD_NO;
    }
    return web_reply(connection, MHD_HTTP_OK, "application/json; charset=utf-8", response);
}

enum MHD_Result web_post_pair(struct web_server *server, struct MHD_Connection *connection,
                              const struct text *body)
{
    struct error error;
    char code[WEB_GUESS_SIZE];
    char key[WEB_ADDRESS_KEY_SIZE];
    char token[WEB_TOKEN_SIZE];
    enum web_right right = WEB_RIGHT_NONE;
    if (web_body_pairing(body, code, &error) != 0) {
        return web_reply_error(connection, &error);
    }
    address_key(connection, key);
    switch (
        web_access_pair(server->access, code, key, uv_now(server->settings->loop), token, &right)) {
    case WEB_PAIRED:
        return send_paired(server, connection, token, right);
    case WEB_PAIR_WAIT:
        return web_reply_words(connection, MHD_HTTP_TOO_MANY_REQUESTS,
                               "too many guesses; wait a little\n");
    case WEB_PAIR_WRONG:
    default:
        return web_reply_words(connection, MHD_HTTP_FORBIDDEN, "that is not the code\n");
    }
}

enum MHD_Result web_post_mark(struct web_server *server, struct MHD_Connection *connection,
                              const struct text *body)
{
    const struct web_actions *actions = &server->settings->actions;
    struct error error;
    struct message_mark message;
    struct mark mark;
    double ago_s = 0;
    if (!actions->mark) {
        return web_reply_words(connection, MHD_HTTP_NOT_FOUND, "nothing is being recorded here\n");
    }
    if (web_body_mark(body, &message, &ago_s, &error) != 0) {
        return web_reply_error(connection, &error);
    }
    if (ago_s > 0) {
        message.start_ns =
            web_live_now_ns(server->settings->live) - (int64_t)(ago_s * NS_PER_SECOND);
    }
    if (actions->mark(actions->context, &message, &mark, &error) != 0) {
        return web_reply_error(connection, &error);
    }
    struct text json = {0};
    (void)text_append_format(&json, "{\"id\":%lld}", (long long)mark_number(&mark));
    return web_reply_json(connection, MHD_HTTP_CREATED, &json);
}

enum MHD_Result web_post_act(struct web_server *server, struct MHD_Connection *connection,
                             const struct text *body)
{
    const struct web_actions *actions = &server->settings->actions;
    struct error error;
    struct web_act act;
    struct text said = {0};
    struct text json = {0};
    if (!actions->act) {
        return web_reply_words(connection, MHD_HTTP_NOT_FOUND, "nothing is being recorded here\n");
    }
    if (web_body_act(body, &act, &error) != 0) {
        return web_reply_error(connection, &error);
    }
    int refused = actions->act(actions->context, &act, &said, &error);
    web_act_clear(&act);
    if (refused != 0) {
        text_free(&said);
        return web_reply_error(connection, &error);
    }
    (void)text_append_format(&json, "{\"say\":");
    (void)json_append_string(&json, said.bytes ? said.bytes : "");
    (void)text_append_format(&json, "}");
    text_free(&said);
    return web_reply_json(connection, MHD_HTTP_OK, &json);
}

/* A fault in what is only looked at is an answer, not a failure. */
static enum MHD_Result take_plan(struct web_server *server, struct MHD_Connection *connection,
                                 const struct text *body, bool check_only)
{
    const struct web_actions *actions = &server->settings->actions;
    struct error error;
    struct text json = {0};
    if (!actions->save_plan) {
        return web_reply_words(connection, MHD_HTTP_NOT_FOUND, "no plan is being drawn here\n");
    }
    bool good =
        actions->save_plan(actions->context, body->bytes, body->length, check_only, &error) == 0;
    if (!good && !check_only) {
        return web_reply_error(connection, &error);
    }
    (void)text_append_format(&json, "{\"good\":%s,\"error\":", good ? "true" : "false");
    (void)json_append_string(&json, good ? "" : error.text);
    (void)text_append_format(&json, "}");
    return web_reply_json(connection, MHD_HTTP_OK, &json);
}

enum MHD_Result web_post_plan(struct web_server *server, struct MHD_Connection *connection,
                              const struct text *body)
{
    return take_plan(server, connection, body, false);
}

enum MHD_Result web_post_check(struct web_server *server, struct MHD_Connection *connection,
                               const struct text *body)
{
    return take_plan(server, connection, body, true);
}
