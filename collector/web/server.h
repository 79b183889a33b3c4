/* The page over HTTP on the caller's loop: its files, what a night holds, the live stream, and the
 * few changes that one who may mark can make. Must never answer to a foreign name, nor change
 * anything but by what `actions` offers. Used by record/ and by cmd_plan.c through it. */
#ifndef ROOMWAKE_COLLECTOR_WEB_SERVER_H
#define ROOMWAKE_COLLECTOR_WEB_SERVER_H

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <uv.h>

#include "collector/model/mark.h"
#include "collector/web/access.h"
#include "collector/web/body.h"
#include "collector/web/live.h"
#include "common/error.h"
#include "common/message.h"
#include "common/text.h"

#define WEB_ADDRESS_SIZE 96
#define WEB_PLAN_BYTES_MAX (256u * 1024u)

struct web_server;

/* What the page may have done; any may be NULL: then it is not offered. */
struct web_actions {
    void *context;
    /* A mark, now, on the loop. */
    int (*mark)(void *context, const struct message_mark *message, struct mark *mark,
                struct error *error);
    /* A preflight, walk, quiet spell or question session, begun or ended, on the loop; a sentence
     * is appended to `said`. */
    int (*act)(void *context, const struct web_act *asked, struct text *said, struct error *error);
    /* Writes the night in a format to `out`, on a thread of its own, until *stop is not 0; `out`
     * NULL: only whether it could begin now. */
    int (*write)(void *context, const char *format, FILE *out, const volatile sig_atomic_t *stop,
                 struct error *error);
    /* The formats' names, which outlive the server; NULL after the last. */
    const char *(*format)(size_t index);
    /* The site file's text; and keeps another, checked, one (check_only: looks at it only). */
    int (*load_plan)(void *context, struct text *out, struct error *error);
    int (*save_plan)(void *context, const char *bytes, size_t length, bool check_only,
                     struct error *error);
};

/* What is pointed to must outlive the server. */
struct web_settings {
    uv_loop_t *loop;
    const char *host;        /* numeric */
    int port;                /* 0 takes a free one */
    struct web_live *live;   /* NULL: nothing is live */
    const char *night_path;  /* NULL: no night */
    const char *certificate; /* PEM texts: TLS; NULL: plain HTTP */
    const char *private_key;
    bool pair_always; /* on this machine alone, too */
    struct web_actions actions;
};

/* Listens, and to `live`. ERROR_BUSY where the port is taken. */
int web_server_new(const struct web_settings *settings, struct web_server **server,
                   struct error *error);
/* "http://127.0.0.1:8080/" */
const char *web_server_address(const struct web_server *server);
/* Whether it asks for one of these codes: other machines can reach it, or it was told to. */
bool web_server_is_open(const struct web_server *server);
const char *web_server_code(const struct web_server *server, enum web_right right);
/* Ends all streams and closes its handles; free when the loop has run on. NULL is allowed in both.
 */
void web_server_close(struct web_server *server);
void web_server_free(struct web_server *server);

#endif
