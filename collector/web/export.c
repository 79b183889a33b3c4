/* The night in one of the formats, as a file: begun by a thread, answered when it is known whether
 * it can be. Must never offer a format that is not listed. Called by routes.c. */
#include <string.h>

#include "collector/web/reply.h"
#include "collector/web/server_inside.h"

static const char *argument(struct MHD_Connection *connection, const char *name)
{
    return MHD_lookup_connection_value(connection, MHD_GET_ARGUMENT_KIND, name);
}

static const char *find_format(const struct web_actions *actions, const char *wanted)
{
    for (size_t i = 0; wanted && actions->format(i); i++) {
        if (strcmp(wanted, actions->format(i)) == 0) {
            return actions->format(i);
        }
    }
    return NULL;
}

enum MHD_Result web_export_begin(struct web_server *server, struct MHD_Connection *connection,
                                 void **kept)
{
    const char *format = find_format(&server->settings->actions, argument(connection, "format"));
    struct error error;
    if (!format) {
        return web_reply_words(connection, MHD_HTTP_NOT_FOUND, "there is no such format\n");
    }
    struct web_request *request = web_request_begin(server, connection, NULL, kept);
    if (!request) {
        return MHD_NO;
    }
    bool check_only = argument(connection, "check") != NULL;
    if (web_downloads_begin(server->downloads, connection, format, check_only, &request->download,
                            &error) != 0) {
        return web_reply_error(connection, &error);
    }
    return MHD_YES;
}

enum MHD_Result web_export_answer(struct web_request *request)
{
    struct error error;
    struct web_download *download = request->download;
    request->download = NULL;
    struct MHD_Response *response = web_download_answer(download, &error);
    if (!response) {
        return web_reply_error(request->connection, &error);
    }
    if (MHD_add_response_header(response, "Content-Disposition", "attachment") != MHD_YES) {
        MHD_destroy_response(response);
        return MHD_NO;
    }
    return web_reply(request->connection, MHD_HTTP_OK, "application/octet-stream", response);
}
