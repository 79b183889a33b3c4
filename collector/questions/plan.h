/* The plan of a question session: what is asked, what counts as a response, what the session can
 * find. Must never be changed once the session began. Called by ask, score and the commands. */
#ifndef ROOMWAKE_COLLECTOR_QUESTIONS_PLAN_H
#define ROOMWAKE_COLLECTOR_QUESTIONS_PLAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "common/ident.h"
#include "common/message.h"
#include "common/site.h"
#include "common/text.h"

#define PLAN_TEXT_MAX (MESSAGE_QUESTION_TEXT_SIZE - 128u)
#define PLAN_TITLE_SIZE 128
#define PLAN_QUESTION_SIZE 256
#define PLAN_QUESTIONS_MAX 200
#define PLAN_QUANTITIES_MAX 8
#define PLAN_NODES_MAX 32
#define PLAN_PATTERN_MAX 9

enum plan_answer { PLAN_ANSWER_NONE, PLAN_ANSWER_NO, PLAN_ANSWER_YES };

struct plan_question {
    char text[PLAN_QUESTION_SIZE];
    uint32_t pattern;        /* so many onsets in the window, "twice in a row"; 0: one or more */
    enum plan_answer answer; /* what is known to be true: a response is a yes, silence a no */
};

/* {"title":"...", "channels":["electric"], "nodes":["n1"], "ask_s":8, "window_s":20, "rest_s":10,
 *  "alpha":0.05, "expect_response":0.5, "expect_by_chance":0.1, "controls":2,
 *  "questions":[{"text":"...", "pattern":2, "answer":"yes"}, {"text":"..."}]}
 * `channels` are quantities; `nodes` may be left out (all). There are as many control windows as
 * questions: another number of `controls` is an error that says so. */
struct question_plan {
    char title[PLAN_TITLE_SIZE];
    size_t quantity_count;
    char quantities[PLAN_QUANTITIES_MAX][IDENT_SIZE];
    size_t node_count; /* 0: all nodes */
    char nodes[PLAN_NODES_MAX][IDENT_SIZE];
    double ask_s;    /* to put the question, or to be as still for as long */
    double window_s; /* in which a response counts */
    double rest_s;   /* least time between; up to as much again is drawn */
    double alpha;    /* what p-value is claimed as an effect */
    double expect_response;
    double expect_by_chance;
    size_t question_count;
    struct plan_question questions[PLAN_QUESTIONS_MAX];
};

/* `name` is what errors call the text. On success *plan is the caller's: free. */
int plan_parse(const char *text, size_t length, const char *name, struct question_plan **plan,
               struct error *error);
/* That the site has what the plan counts, or nothing would ever come: ERROR_USAGE names what it
 * lacks. */
int plan_check_site(const struct question_plan *plan, const struct site *site, struct error *error);
/* The chance that the session claims an effect of the expected size (exact_power). */
double plan_power(const struct question_plan *plan);
/* What the session is and can find, in sentences, before it is begun. */
void plan_say(const struct question_plan *plan, struct text *out);
/* How long it takes at most, seconds. */
double plan_length_s(const struct question_plan *plan);

#endif
