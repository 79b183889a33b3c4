/* Counts responses in windows and puts them into tables.
 * Must never look at more than times: what counts was decided by the plan. Called by answers. */
#include "collector/questions/score.h"

#include <string.h>

#define NS_PER_S 1e9

uint32_t score_count(const struct score_onset *onsets, size_t count, int64_t start_ns,
                     int64_t end_ns, enum score_which which, uint32_t quantity)
{
    uint32_t responses = 0;
    int64_t last_ns = 0;
    for (size_t i = 0; i < count && onsets[i].time_ns < end_ns; i++) {
        const struct score_onset *onset = &onsets[i];
        if (onset->time_ns < start_ns || (which == SCORE_WITHOUT_ORDINARY && onset->ordinary) ||
            (quantity != SCORE_ANY_QUANTITY && onset->quantity != quantity)) {
            continue;
        }
        if (responses == 0 || onset->time_ns - last_ns >= SCORE_TOGETHER_NS) {
            responses++;
        }
        last_ns = onset->time_ns;
    }
    return responses;
}

bool score_fits(const struct plan_question *question, uint32_t responses)
{
    return question->pattern > 0 ? responses == question->pattern : responses > 0;
}

/* One window's part in the answers to questions whose answer is known. */
static void score_answer(const struct plan_question *question, bool asked, bool fits,
                         struct score *score)
{
    bool right = fits == (question->answer == PLAN_ANSWER_YES);
    if (!asked) {
        score->control_right += right;
        return;
    }
    score->answers++;
    score->right += right;
    if (question->answer == PLAN_ANSWER_YES) {
        score->yes.asked++;
        score->yes.asked_hits += fits;
    } else {
        score->yes.silent++;
        score->yes.silent_hits += fits;
    }
}

void score_session(const struct question_plan *plan, const struct score_window *windows,
                   size_t window_count, const struct score_onset *onsets, size_t onset_count,
                   enum score_which which, uint32_t quantity, struct score *score)
{
    memset(score, 0, sizeof *score);
    for (size_t i = 0; i < window_count; i++) {
        const struct score_window *window = &windows[i];
        const struct plan_question *question = &plan->questions[window->question];
        bool fits = score_fits(question, score_count(onsets, onset_count, window->start_ns,
                                                     window->end_ns, which, quantity));
        if (window->asked) {
            score->hits.asked++;
            score->hits.asked_hits += fits;
        } else {
            score->hits.silent++;
            score->hits.silent_hits += fits;
        }
        if (question->answer != PLAN_ANSWER_NONE) {
            score_answer(question, window->asked, fits, score);
        }
    }
    const struct exact_table *hits = &score->hits;
    score->p_value = exact_fisher_more(hits);
    exact_difference_95(hits, &score->low, &score->high);
    if (hits->asked > 0 && hits->silent > 0) {
        score->difference =
            (double)hits->asked_hits / hits->asked - (double)hits->silent_hits / hits->silent;
    }
    score->answers_p_value =
        score->yes.asked > 0 && score->yes.silent > 0 ? exact_fisher_more(&score->yes) : 1.0;
}

static bool touches_a_window(const struct score_window *windows, size_t count, int64_t start_ns,
                             int64_t end_ns)
{
    for (size_t i = 0; i < count; i++) {
        if (start_ns < windows[i].end_ns && windows[i].start_ns < end_ns) {
            return true;
        }
    }
    return false;
}

struct score_background score_background(const struct question_plan *plan, size_t question,
                                         const struct score_window *windows, size_t window_count,
                                         const struct score_onset *onsets, size_t onset_count,
                                         int64_t from_ns, int64_t to_ns)
{
    struct score_background background = {0, 0};
    const int64_t length_ns = (int64_t)(plan->window_s * NS_PER_S);
    for (int64_t at_ns = from_ns; to_ns - at_ns >= length_ns; at_ns += length_ns) {
        if (touches_a_window(windows, window_count, at_ns, at_ns + length_ns)) {
            continue;
        }
        background.windows++;
        background.hits += score_fits(&plan->questions[question],
                                      score_count(onsets, onset_count, at_ns, at_ns + length_ns,
                                                  SCORE_ALL, SCORE_ANY_QUANTITY));
    }
    return background;
}
