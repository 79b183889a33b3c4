/* Holds a question session: draws it, announces each window on the terminal, tells the base station
 * what happens when it happens. Must never let the team know what comes before it is announced.
 * Used by cmd_ask.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ASK_H
#define ROOMWAKE_COLLECTOR_RECORD_ASK_H

#include <stddef.h>
#include <stdint.h>

#include "collector/night/reader.h"
#include "collector/questions/plan.h"
#include "common/error.h"
#include "common/text.h"

struct ask_settings {
    const char *broker_url;
    const char *site;
    const struct question_plan *plan;
    const char *plan_text; /* as it was written; stored whole */
    size_t plan_length;
};

/* Runs the session to its end (0), or until it is broken off by an interrupt or a lost link: -1
 * with ERROR_STATE or ERROR_NETWORK. Lines for the team go to standard output. */
int ask_run(const struct ask_settings *settings, struct error *error);
/* Refuses (ERROR_USAGE) where the night has a session whose end was not told and that may still be
 * under way. */
int ask_refuse_overlap(struct night_reader *reader, int64_t now_ns, struct error *error);
/* A note where quantities still learn what is usual, so that none of theirs can count yet. */
void ask_say_learning(size_t learning, struct text *out);

#endif
