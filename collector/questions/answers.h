/* The outcome of a session in sentences for people.
 * Must never claim more than the exact test carries, nor hide how many sessions were tried. */
#ifndef ROOMWAKE_COLLECTOR_QUESTIONS_ANSWERS_H
#define ROOMWAKE_COLLECTOR_QUESTIONS_ANSWERS_H

#include <stdbool.h>

#include "collector/questions/score.h"
#include "common/text.h"

/* What came to a question that asked for so many, and how often the rest of the night gives that.
 */
struct answers_pattern {
    bool held; /* its window was */
    uint32_t came;
    struct score_background rest;
};

struct answers {
    const struct question_plan *plan;
    const char *session;
    uint32_t nth;               /* of the night's sessions, from 1 */
    uint32_t sessions;          /* tried in this night, broken ones too */
    const char *broken;         /* why it ended early; NULL where it did not */
    bool seed_holds;            /* the seed is the one that was bound before the start */
    bool drawn_holds;           /* the windows came as drawn from it */
    uint32_t windows_with_gaps; /* in which a node that counts was not recorded throughout */
    struct score all;
    struct score without_ordinary;
    struct score by_quantity[PLAN_QUANTITIES_MAX];
    struct answers_pattern patterns[PLAN_QUESTIONS_MAX]; /* of questions with a pattern */
};

/* The p-value that is to be held against alpha where several sessions were tried: the least of so
 * many (Sidak 1967, J. Am. Stat. Assoc. 62:626): 1 - (1 - p)^sessions. */
double answers_corrected_p(double p_value, uint32_t sessions);
void answers_write(const struct answers *answers, struct text *out);

#endif
