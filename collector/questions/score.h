/* What the windows of one session brought, and what chance says of it.
 * Must never leave a window out that was held. Called by the answers command. */
#ifndef ROOMWAKE_COLLECTOR_QUESTIONS_SCORE_H
#define ROOMWAKE_COLLECTOR_QUESTIONS_SCORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/questions/exact.h"
#include "collector/questions/plan.h"

/* Onsets nearer than this, at whatever node, are one response: people would count one knock. */
#define SCORE_TOGETHER_NS INT64_C(500000000)

struct score_window {
    bool asked;
    size_t question; /* in the plan; of a control window the one it is scored by */
    int64_t start_ns;
    int64_t end_ns; /* not in it */
};

/* Something the plan counts, in order of time. */
struct score_onset {
    int64_t time_ns;
    bool ordinary;     /* an ordinary cause was named for it, the team's own marks among them */
    uint32_t quantity; /* in the plan */
};

enum score_which { SCORE_ALL, SCORE_WITHOUT_ORDINARY };
#define SCORE_ANY_QUANTITY UINT32_MAX

struct score {
    struct exact_table hits;
    double p_value; /* exact_fisher_more */
    double difference;
    double low; /* exact_difference_95 */
    double high;
    /* Questions with a known answer: a response is yes, silence no. */
    uint32_t answers;
    uint32_t right;
    uint32_t control_right; /* of as many control windows, scored the same way */
    struct exact_table yes; /* asked: whose answer is yes; silent: whose answer is no */
    double answers_p_value; /* 1 where there are none of one kind */
};

/* Distinct responses from `start_ns` (in) to `end_ns` (out). */
uint32_t score_count(const struct score_onset *onsets, size_t count, int64_t start_ns,
                     int64_t end_ns, enum score_which which, uint32_t quantity);
/* Whether so many responses are what the question asked for. */
bool score_fits(const struct plan_question *question, uint32_t responses);

void score_session(const struct question_plan *plan, const struct score_window *windows,
                   size_t window_count, const struct score_onset *onsets, size_t onset_count,
                   enum score_which which, uint32_t quantity, struct score *score);

/* How often the rest of the night gives what a question asked for: windows of the same length laid
 * end to end from `from_ns` to `to_ns`, those left out that touch a session's window. */
struct score_background {
    uint32_t windows;
    uint32_t hits;
};
struct score_background score_background(const struct question_plan *plan, size_t question,
                                         const struct score_window *windows, size_t window_count,
                                         const struct score_onset *onsets, size_t onset_count,
                                         int64_t from_ns, int64_t to_ns);

#endif
