/* Sentences from a session's tables.
 * Must never compute what the score has not. Called by the answers command. */
#include "collector/questions/answers.h"

#include <inttypes.h>
#include <math.h>

double answers_corrected_p(double p_value, uint32_t sessions)
{
    return -expm1((double)sessions * log1p(-fmin(p_value, 1.0)));
}

/* "in 37 of 100 such sessions", with more digits where it is rarer. */
static void write_share(double p, struct text *out)
{
    double of = 100.0;
    while (p > 0.0 && p * of < 1.0 && of < 1e9) {
        of *= 10.0;
    }
    (void)text_append_format(out, "%.0f of %.0f", p * of, of);
}

static void write_plan(const struct answers *a, struct text *out)
{
    const struct question_plan *plan = a->plan;
    (void)text_append_format(out,
                             "Planned before: %zu questions and as many windows in which nobody"
                             " asks, %g s each. Counted: an onset of",
                             plan->question_count, plan->window_s);
    for (size_t i = 0; i < plan->quantity_count; i++) {
        (void)text_append_format(out, "%s %s", i ? " or" : "", plan->quantities[i]);
    }
    if (plan->node_count == 0) {
        (void)text_append_format(out, " at any node");
    }
    for (size_t i = 0; i < plan->node_count; i++) {
        (void)text_append_format(out, "%s %s", i ? "," : " at", plan->nodes[i]);
    }
    (void)text_append_format(
        out,
        ".\nIf %.0f of 100 questions were answered and %.0f of 100 windows gave one by chance, this"
        " session\nwould find it %.0f times in 100 (claimed when p <= %g).\n",
        100 * plan->expect_response, 100 * plan->expect_by_chance, 100 * plan_power(plan),
        plan->alpha);
}

static void write_draw(const struct answers *a, struct text *out)
{
    (void)text_append_format(
        out, "Drawn: %s\n",
        !a->seed_holds    ? "NOT PROVED: no seed was told that fits what was bound before the start"
        : !a->drawn_holds ? "NOT AS DRAWN: the windows are not in the order that the seed gives"
                          : "from a seed bound before the start; it fits, and so do all windows");
    if (a->broken) {
        (void)text_append_format(out,
                                 "BROKEN OFF: %s. It counts as a session that was tried; no"
                                 " effect can be claimed from it.\n",
                                 a->broken);
    }
    if (a->windows_with_gaps > 0) {
        (void)text_append_format(out,
                                 "In %" PRIu32 " windows a node that counts was not recorded"
                                 " all the time.\n",
                                 a->windows_with_gaps);
    }
}

static void write_table(const char *head, const struct score *score, struct text *out)
{
    const struct exact_table *hits = &score->hits;
    (void)text_append_format(out,
                             "%s: after a question %" PRIu32 " of %" PRIu32 ", when nobody asked"
                             " %" PRIu32 " of %" PRIu32 ". By the drawing alone, as many or more\n"
                             "  come in ",
                             head, hits->asked_hits, hits->asked, hits->silent_hits, hits->silent);
    write_share(score->p_value, out);
    (void)text_append_format(out,
                             " sessions (p = %.3g, exact). Difference %+.0f points (95 %%: %+.0f to"
                             " %+.0f).\n",
                             score->p_value, 100 * score->difference, 100 * score->low,
                             100 * score->high);
}

static void write_answers(const struct score *score, struct text *out)
{
    if (score->answers == 0) {
        return;
    }
    (void)text_append_format(out,
                             "Known answers, silence taken as no: %" PRIu32 " of %" PRIu32 " right;"
                             " windows in which nobody asked would have been right %" PRIu32
                             " times.\n",
                             score->right, score->answers, score->control_right);
    if (score->yes.asked > 0 && score->yes.silent > 0) {
        (void)text_append_format(
            out,
            "  A response came to %" PRIu32 " of %" PRIu32 " questions whose answer is yes, to"
            " %" PRIu32 " of %" PRIu32 " whose answer is no (p = %.3g, exact).\n",
            score->yes.asked_hits, score->yes.asked, score->yes.silent_hits, score->yes.silent,
            score->answers_p_value);
    } else {
        (void)text_append_format(out, "  All have the same answer: nothing can be told from how"
                                      " many are right.\n");
    }
}

static void write_patterns(const struct answers *a, struct text *out)
{
    for (size_t i = 0; i < a->plan->question_count; i++) {
        const struct plan_question *question = &a->plan->questions[i];
        const struct answers_pattern *pattern = &a->patterns[i];
        if (question->pattern == 0 || !pattern->held) {
            continue;
        }
        (void)text_append_format(out,
                                 "\"%s\": asked for exactly %" PRIu32 ", %" PRIu32 " came: %s. ",
                                 question->text, question->pattern, pattern->came,
                                 score_fits(question, pattern->came) ? "as asked" : "not that");
        if (pattern->rest.windows > 0) {
            (void)text_append_format(out,
                                     "The rest of the night gives\n  exactly %" PRIu32
                                     " in %" PRIu32 " of %" PRIu32 " such windows.\n",
                                     question->pattern, pattern->rest.hits, pattern->rest.windows);
        } else {
            (void)text_append_format(out, "The night has no other\n  window to hold it against.\n");
        }
    }
}

static void write_verdict(const struct answers *a, struct text *out)
{
    double p = answers_corrected_p(a->without_ordinary.p_value, a->sessions);
    (void)text_append_format(out, "In one sentence: ");
    if (a->broken || !a->seed_holds || !a->drawn_holds) {
        (void)text_append_format(out, "nothing can be claimed from this session.\n");
    } else if (p <= a->plan->alpha) {
        (void)text_append_format(out,
                                 "responses came more often after questions than when nobody asked;"
                                 " chance alone\ndoes that in ");
        write_share(p, out);
        (void)text_append_format(out, " nights with as many sessions. What made them is not told by"
                                      " this.\n");
    } else {
        (void)text_append_format(out, "no more came after questions than chance gives.\n");
    }
    (void)text_append_format(
        out, "Sessions tried in this night: %" PRIu32 ", this is number %" PRIu32 "%s.\n",
        a->sessions, a->nth, a->sessions > 1 ? "; the sentence allows for all of them" : "");
}

void answers_write(const struct answers *a, struct text *out)
{
    (void)text_append_format(out, "Questions \"%s\" (%s)\n", a->plan->title, a->session);
    write_plan(a, out);
    write_draw(a, out);
    write_table("All that was seen", &a->all, out);
    write_table("Without what has an ordinary cause", &a->without_ordinary, out);
    for (size_t i = 0; a->plan->quantity_count > 1 && i < a->plan->quantity_count; i++) {
        write_table(a->plan->quantities[i], &a->by_quantity[i], out);
    }
    write_answers(&a->without_ordinary, out);
    write_patterns(a, out);
    write_verdict(a, out);
}
