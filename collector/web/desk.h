/* Reads a night for the page on a thread of its own, one question after the other, so that no file
 * ever holds the loop. Must never keep more questions than its bound. Used by server.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_DESK_H
#define ROOMWAKE_COLLECTOR_WEB_DESK_H

#include <stdbool.h>
#include <uv.h>

#include "collector/web/answer.h"
#include "collector/web/query.h"

#define WEB_DESK_MAX 64u

/* A question, caller-owned, at the desk from web_desk_ask until `answered`. */
struct web_question {
    web_answer answer;
    struct web_query query;
    void (*answered)(struct web_question *question); /* on the loop */
    void *context;
    /* Filled before `answered`: */
    struct text out; /* text_free is the caller's */
    struct error error;
    bool failed;
    struct web_question *next;
};

struct web_desk;

/* The file need not be there yet: until then questions fail with ERROR_NOT_FOUND. */
int web_desk_new(uv_loop_t *loop, const char *path, struct web_desk **desk, struct error *error);
/* ERROR_FULL where too many wait. */
int web_desk_ask(struct web_desk *desk, struct web_question *question, struct error *error);
/* Waits for the question that is being answered, answers the others with ERROR_STATE, closes its
 * handle; free when the loop has run on. NULL is allowed in both. */
void web_desk_close(struct web_desk *desk);
void web_desk_free(struct web_desk *desk);

#endif
