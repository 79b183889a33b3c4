/* Answers of the page, each with the headers that keep it safe.
 * Must never allow another origin anything. Used by routes.c and post.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_REPLY_H
#define ROOMWAKE_COLLECTOR_WEB_REPLY_H

#include <microhttpd.h>

#include "collector/web/assets.h"
#include "common/error.h"
#include "common/text.h"

/* Queues and lets go of the response; NULL closes the connection (out of memory). */
enum MHD_Result web_reply(struct MHD_Connection *connection, unsigned status, const char *type,
                          struct MHD_Response *response);
/* `text` is a constant. */
enum MHD_Result web_reply_words(struct MHD_Connection *connection, unsigned status,
                                const char *text);
/* Takes the text's bytes. */
enum MHD_Result web_reply_json(struct MHD_Connection *connection, unsigned status,
                               struct text *json);
/* {"error":"..."} with the status that suits. */
enum MHD_Result web_reply_error(struct MHD_Connection *connection, const struct error *error);
/* As it is or compressed, or "not modified". */
enum MHD_Result web_reply_asset(struct MHD_Connection *connection, const struct web_asset *asset);

#endif
