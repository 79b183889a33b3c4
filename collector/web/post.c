/* The few changes that the page can make: pairing a device, a mark, and the plan's site file.
 * Must never change anything that `actions` does not offer. Called by routes.c, after its checks.
 */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

#include "collector/web/reply.h"
#include "collector/web/server_inside.h"
#include "common/json.h"

#define PAIRED_FOR_S 86400
#define MARK_MOST_S 86400.0
#define MARK_NUMBER_MOST 1e9
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
    static const char *const fields[] = {"code", NULL};
    struct error error;
    cJSON *root = NULL;
    char code[64];
    char key[WEB_ADDRESS_KEY_SIZE];
    char token[WEB_TOKEN_SIZE];
    enum web_right right = WEB_RIGHT_NONE;
    if (json_parse(body->bytes, body->length, "pairing", &root, &error) != 0) {
        return web_reply_error(connection, &error);
    }
    bool good = json_check_fields(root, "", fields, &error) == 0 &&
                json_get_text(root, "", "code", code, sizeof code, &error) == 0;
    cJSON_Delete(root);
    if (!good) {
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

/* Which mark is changed, and how; a new one where none is named. */
static int read_what(const cJSON *root, struct message_mark *mark, struct error *error)
{
    static const struct {
        const char *name;
        enum mark_what what;
    } changes[] = {{"correct", MARK_CORRECT}, {"end", MARK_END}, {"withdraw", MARK_WITHDRAW}};
    for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
        double number = 0;
        if (!cJSON_GetObjectItemCaseSensitive(root, changes[i].name)) {
            continue;
        }
        if (mark->what != MARK_NEW) {
            return error_set(error, ERROR_FORMAT, "mark: only one of correct, end and withdraw");
        }
        if (json_get_number_or(root, "", changes[i].name, 1, MARK_NUMBER_MOST, 0, &number, error) !=
            0) {
            return -1;
        }
        mark->what = changes[i].what;
        mark->number = (int64_t)number;
    }
    return 0;
}

/* Of a correction: what was said anew. */
static unsigned read_given(const cJSON *root)
{
    static const struct {
        const char *name;
        unsigned given;
    } fields[] = {{"text", MARK_GAVE_TEXT},   {"room", MARK_GAVE_ROOM},
                  {"who", MARK_GAVE_WHO},     {"for_s", MARK_GAVE_LENGTH},
                  {"ago_s", MARK_GAVE_START}, {"running", MARK_GAVE_LENGTH}};
    unsigned given = 0;
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++) {
        given |= cJSON_GetObjectItemCaseSensitive(root, fields[i].name) ? fields[i].given : 0u;
    }
    return given;
}

static int check_mark(const struct message_mark *mark, struct error *error)
{
    bool needs_text = mark->what == MARK_NEW || (mark->given & MARK_GAVE_TEXT);
    if ((needs_text && mark->text[0] == '\0') ||
        (mark->room[0] && !ident_valid(mark->room, strlen(mark->room))) ||
        (mark->who[0] && !ident_valid(mark->who, strlen(mark->who)))) {
        return error_set(error, ERROR_FORMAT, "mark: a text is needed; room and who are ids");
    }
    return 0;
}

static int read_mark(const struct text *body, struct message_mark *mark, double *ago_s,
                     struct error *error)
{
    static const char *const fields[] = {"text",    "room", "who",      "for_s",   "ago_s",
                                         "correct", "end",  "withdraw", "running", NULL};
    cJSON *root = NULL;
    double for_s = 0;
    memset(mark, 0, sizeof *mark);
    if (json_parse(body->bytes, body->length, "mark", &root, error) != 0) {
        return -1;
    }
    int result =
        json_check_fields(root, "", fields, error) != 0 || read_what(root, mark, error) != 0 ||
                json_get_text_or(root, "", "text", "", mark->text, sizeof mark->text, error) != 0 ||
                json_get_text_or(root, "", "room", "", mark->room, sizeof mark->room, error) != 0 ||
                json_get_text_or(root, "", "who", "", mark->who, sizeof mark->who, error) != 0 ||
                json_get_number_or(root, "", "for_s", 0, MARK_MOST_S, 60, &for_s, error) != 0 ||
                json_get_number_or(root, "", "ago_s", 0, MARK_MOST_S, 0, ago_s, error) != 0
            ? -1
            : 0;
    mark->running = cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(root, "running"));
    mark->given = read_given(root);
    mark->length_ns = (int64_t)(for_s * NS_PER_SECOND);
    cJSON_Delete(root);
    return result == 0 ? check_mark(mark, error) : -1;
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
    if (read_mark(body, &message, &ago_s, &error) != 0) {
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
