/* The page over HTTP on the recording's own loop: the page's three files and the live stream, to be
 * read and nothing else. Must never change anything, nor answer to a foreign name. Used by
 * session.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_SERVER_H
#define ROOMWAKE_COLLECTOR_WEB_SERVER_H

#include <uv.h>

#include "collector/web/live.h"
#include "common/error.h"

#define WEB_ADDRESS_SIZE 96

struct web_server;

/* Listens; host is a numeric address, port 0 takes a free one. `loop` and `live` must outlive it,
 * and it listens to `live`. ERROR_BUSY where the port is taken. */
int web_server_new(uv_loop_t *loop, const char *host, int port, struct web_live *live,
                   struct web_server **server, struct error *error);
/* "http://127.0.0.1:8080/" */
const char *web_server_address(const struct web_server *server);
/* Whether other machines can reach it. */
bool web_server_is_open(const struct web_server *server);
/* Ends all streams and closes its handles; free when the loop has run on. NULL is allowed in both.
 */
void web_server_close(struct web_server *server);
void web_server_free(struct web_server *server);

#endif
