/* A question session as it is held: which step comes when, what the team is told and what the night
 * hears. Pure: must never wait, read a clock, or let out what comes before it has begun. Used by
 * the terminal (record/ask.c) and by the page (record/acts_ask.c). */
#ifndef ROOMWAKE_COLLECTOR_QUESTIONS_HOLDING_H
#define ROOMWAKE_COLLECTOR_QUESTIONS_HOLDING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/questions/draw.h"
#include "collector/questions/plan.h"
#include "common/error.h"
#include "common/message.h"

#define HOLDING_TEXT_SIZE (PLAN_QUESTION_SIZE + 128)

enum holding_stage { HOLDING_REST, HOLDING_SPEAK, HOLDING_LISTEN, HOLDING_OVER };

/* A step, as it begins. */
struct holding_step {
    enum holding_stage stage;
    double wait_s;                /* until the next; 0: it is over */
    char head[32];                /* for the team; the text is "" where nothing is to be said */
    char text[HOLDING_TEXT_SIZE]; /* names no window that has not begun */
    bool told;                    /* `said` must reach the night, or the session is broken off */
    struct message_question said; /* its text is the session's own */
};

struct holding;

/* Draws and binds; from here on nothing can be chosen any more. `plan` must outlive it, `plan_text`
 * is copied. ERROR_MEMORY alone. */
int holding_new(const struct question_plan *plan, const char *plan_text, size_t length,
                const uint8_t seed[DRAW_SEED_SIZE], struct holding **holding, struct error *error);
void holding_free(struct holding *holding);

/* The first step, with what binds the seed; then each that follows, up to and with HOLDING_OVER.
 * holding_break is the last one at any time before that. */
void holding_begin(struct holding *holding, struct holding_step *step);
void holding_next(struct holding *holding, struct holding_step *step);
void holding_break(struct holding *holding, const char *why, struct holding_step *step);

const char *holding_session(const struct holding *holding);
/* The window that comes or is being held, from 1, and how many there are. */
size_t holding_nth(const struct holding *holding);
size_t holding_count(const struct holding *holding);

/* Refuses (ERROR_USAGE) where a session of this id, begun at started_ns with so long a plan, can
 * still be under way: its windows would be those of two. */
int holding_refuse_overlap(const char *session, int64_t started_ns, double plan_length,
                           int64_t now_ns, struct error *error);

#endif
