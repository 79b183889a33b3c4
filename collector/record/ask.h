/* Holds a question session: draws it, announces each window on the terminal, tells the base station
 * what happens when it happens. Must never let the team know what comes before it is announced.
 * Used by cmd_ask.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ASK_H
#define ROOMWAKE_COLLECTOR_RECORD_ASK_H

#include <stddef.h>

#include "collector/questions/plan.h"
#include "common/error.h"

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

#endif
