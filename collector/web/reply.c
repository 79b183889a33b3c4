/* Responses and their headers.
 * Must never leave a header out for one kind of answer. Called by routes.c and post.c. */
#include "collector/web/reply.h"

#include <string.h>

#include "common/json.h"

#define JSON_TYPE "application/json; charset=utf-8"

enum MHD_Result web_reply(struct MHD_Connection *connection, unsigned status, const char *type,
                          struct MHD_Response *response)
{
    static const char *const headers[][2] = {
        {"Content-Security-Policy",
         "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
         "worker-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; "
         "frame-ancestors 'none'"},
        {"X-Content-Type-Options", "nosniff"},
        {"Referrer-Policy", "no-referrer"},
        {"Cross-Origin-Resource-Policy", "same-origin"},
        {"Cross-Origin-Opener-Policy", "same-origin"},
        {"Cache-Control", "no-cache"},
    };
    if (!response) {
        return MHD_NO;
    }
    enum MHD_Result result = MHD_add_response_header(response, "Content-Type", type);
    for (size_t i = 0; result == MHD_YES && i < sizeof headers / sizeof *headers; i++) {
        result = MHD_add_response_header(response, headers[i][0], headers[i][1]);
    }
    if (result == MHD_YES && status == MHD_HTTP_METHOD_NOT_ALLOWED) {
        result = MHD_add_response_header(response, "Allow", "GET, POST");
    }
    if (result == MHD_YES && status == MHD_HTTP_TOO_MANY_REQUESTS) {
        result = MHD_add_response_header(response, "Retry-After", "5");
    }
    if (result == MHD_YES) {
        result = MHD_queue_response(connection, status, response);
    }
    MHD_destroy_response(response);
    return result;
}

static struct MHD_Response *constant(const void *bytes, size_t length)
{
    union {
        const void *constant;
        void *bytes;
    } body = {.constant = bytes};
    return MHD_create_response_from_buffer(length, body.bytes, MHD_RESPMEM_PERSISTENT);
}

enum MHD_Result web_reply_words(struct MHD_Connection *connection, unsigned status,
                                const char *text)
{
    return web_reply(connection, status, "text/plain; charset=utf-8", constant(text, strlen(text)));
}

enum MHD_Result web_reply_json(struct MHD_Connection *connection, unsigned status,
                               struct text *json)
{
    struct MHD_Response *response =
        json->failed
            ? NULL
            : MHD_create_response_from_buffer(json->length, json->bytes, MHD_RESPMEM_MUST_FREE);
    if (!response) {
        text_free(json);
    }
    memset(json, 0, sizeof *json);
    return web_reply(connection, status, JSON_TYPE, response);
}

static unsigned status_of(enum error_code code)
{
    switch (code) {
    case ERROR_NOT_FOUND:
        return MHD_HTTP_NOT_FOUND;
    case ERROR_USAGE:
    case ERROR_FORMAT:
    case ERROR_RANGE:
        return MHD_HTTP_BAD_REQUEST;
    case ERROR_FULL:
    case ERROR_BUSY:
    case ERROR_STATE:
        return MHD_HTTP_SERVICE_UNAVAILABLE;
    default:
        return MHD_HTTP_INTERNAL_SERVER_ERROR;
    }
}

enum MHD_Result web_reply_error(struct MHD_Connection *connection, const struct error *error)
{
    struct text json = {0};
    (void)text_append_format(&json, "{\"error\":");
    (void)json_append_string(&json, error->text);
    (void)text_append_format(&json, "}");
    return web_reply_json(connection, status_of(error->code), &json);
}

static const char *header(struct MHD_Connection *connection, const char *name)
{
    const char *value = MHD_lookup_connection_value(connection, MHD_HEADER_KIND, name);
    return value ? value : "";
}

enum MHD_Result web_reply_asset(struct MHD_Connection *connection, const struct web_asset *asset)
{
    if (strcmp(header(connection, "If-None-Match"), asset->tag) == 0) {
        return web_reply(connection, MHD_HTTP_NOT_MODIFIED, asset->type, constant("", 0));
    }
    bool packed = strstr(header(connection, "Accept-Encoding"), "gzip") != NULL;
    struct MHD_Response *response = packed ? constant(asset->packed, asset->packed_length)
                                           : constant(asset->bytes, asset->length);
    if (response &&
        (MHD_add_response_header(response, "ETag", asset->tag) != MHD_YES ||
         MHD_add_response_header(response, "Vary", "Accept-Encoding") != MHD_YES ||
         (packed && MHD_add_response_header(response, "Content-Encoding", "gzip") != MHD_YES))) {
        MHD_destroy_response(response);
        response = NULL;
    }
    return web_reply(connection, MHD_HTTP_OK, asset->type, response);
}
