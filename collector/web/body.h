/* What a request's JSON body asks for: pairing, a mark. Any bytes give that or an error that names
 * the field. Must never act on it: that is post.c's. */
#ifndef ROOMWAKE_COLLECTOR_WEB_BODY_H
#define ROOMWAKE_COLLECTOR_WEB_BODY_H

#include "common/error.h"
#include "common/message.h"
#include "common/text.h"

#define WEB_GUESS_SIZE 64u /* of a code that somebody typed */

/* {"code": TEXT}. ERROR_FORMAT, ERROR_RANGE or ERROR_MEMORY, as below. */
int web_body_pairing(const struct text *body, char code[WEB_GUESS_SIZE], struct error *error);

/* A new mark, or a change of one; `ago_s` is how long before now it began (0: now), 0 to 86,400. */
int web_body_mark(const struct text *body, struct message_mark *mark, double *ago_s,
                  struct error *error);

#endif
