/* What a request's JSON body asks for: pairing, a mark, an act. Any bytes give that or an error
 * that names the field. Must never act on it: that is post.c's. */
#ifndef ROOMWAKE_COLLECTOR_WEB_BODY_H
#define ROOMWAKE_COLLECTOR_WEB_BODY_H

#include "common/error.h"
#include "common/message.h"
#include "common/site.h"
#include "common/text.h"

#define WEB_GUESS_SIZE 64u /* of a code that somebody typed */

/* {"code": TEXT}. ERROR_FORMAT, ERROR_RANGE or ERROR_MEMORY, as below. */
int web_body_pairing(const struct text *body, char code[WEB_GUESS_SIZE], struct error *error);

/* A new mark, or a change of one; `ago_s` is how long before now it began (0: now), 0 to 86,400. */
int web_body_mark(const struct text *body, struct message_mark *mark, double *ago_s,
                  struct error *error);

enum web_act_kind { WEB_ACT_PREFLIGHT, WEB_ACT_WALK, WEB_ACT_QUIET, WEB_ACT_ASK, WEB_ACT_COUNT };
enum web_act_what { WEB_ACT_BEGIN, WEB_ACT_END, WEB_ACT_CHECK, WEB_ACT_WHAT_COUNT };

/* What the team wants to do; numbers are within the commands' bounds, and theirs where left out. */
struct web_act {
    enum web_act_kind kind;
    enum web_act_what what;
    double hours;
    double wait_s;
    double look_s;
    double quiet_s;
    double limit_s;
    double for_s; /* 0: until ended */
    size_t room_count;
    char rooms[SITE_ROOMS_MAX][IDENT_SIZE];
    char *plan; /* as it was written; NULL: none */
};

/* On success the caller's to clear; after an error there is nothing to. */
int web_body_act(const struct text *body, struct web_act *act, struct error *error);
void web_act_clear(struct web_act *act);

#endif
