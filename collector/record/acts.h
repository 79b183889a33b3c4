/* What the team does before and in a night from the page: preflight, walk test, quiet spell,
 * question session. How each stands is kept here, told to every page, and outlives all of them.
 * Must never wait on the loop, nor do what the commands of the same names would refuse. Used by
 * session_page.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ACTS_H
#define ROOMWAKE_COLLECTOR_RECORD_ACTS_H

#include <stddef.h>
#include <stdint.h>
#include <uv.h>

#include "collector/model/question.h"
#include "collector/model/quiet.h"
#include "collector/web/body.h"
#include "collector/web/live.h"
#include "common/error.h"
#include "common/message.h"
#include "common/site.h"
#include "common/text.h"

/* Copied; what is pointed to must outlive the acts. */
struct acts_settings {
    uv_loop_t *loop;
    const struct site *site;
    const char *night_path;
    struct web_live *live;
    void *context; /* of what follows; all on the loop */
    int64_t (*now_ns)(void *context);
    int (*quiet)(void *context, const struct message_baseline *order, struct error *error);
    int (*question)(void *context, const struct message_question *step, struct error *error);
    size_t (*learning)(void *context); /* quantities that still learn */
};

struct acts;

int acts_new(const struct acts_settings *settings, struct acts **acts, struct error *error);
/* What the page asks for. Refused (ERROR_USAGE and others) with what to do instead; else a sentence
 * is appended to `said`. */
int acts_do(struct acts *acts, const struct web_act *asked, struct text *said, struct error *error);
/* The night's own first quiet spell, where there is one; then what happened in the night, whoever
 * did it. NULL is allowed in all that follow. */
void acts_begin_night(struct acts *acts, int64_t begun_ns);
void acts_take_quiet(struct acts *acts, const struct quiet_order *order);
void acts_take_question(struct acts *acts, const struct question_step *step);
/* While the night can still be written: a session that is being held is broken off. */
void acts_stop(struct acts *acts);
/* Before the night is closed: nothing of it is read any more. A second time does nothing. Free when
 * the loop has run on. */
void acts_close(struct acts *acts);
void acts_free(struct acts *acts);

#endif
