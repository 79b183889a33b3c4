/* What is looked at before a question session: whether one is held already, and what still learns.
 * Must never take one for held that has told its end. Called by cmd_ask.c and acts_ask.c. */
#include <stdlib.h>
#include <string.h>

#include "collector/questions/draw.h"
#include "collector/questions/holding.h"
#include "collector/record/ask.h"

/* The last session that began; its length by its plan, 0 where it is over. */
struct last {
    char id[IDENT_SIZE];
    int64_t started_ns;
    double length_s;
};

static int take_step(void *context, const struct question_step *step)
{
    struct last *last = context;
    struct question_plan *plan = NULL;
    struct error ignored; /* a plan that can't be read holds nobody up */
    if (step->said.what == QUESTION_PLAN && strlen(step->said.text) > DRAW_HEX_SIZE) {
        const char *text = step->said.text + DRAW_HEX_SIZE;
        memcpy(last->id, step->said.session, sizeof last->id);
        last->started_ns = step->time_ns;
        last->length_s = plan_parse(text, strlen(text), last->id, &plan, &ignored) == 0
                             ? plan_length_s(plan)
                             : 0.0;
        free(plan);
    } else if ((step->said.what == QUESTION_END || step->said.what == QUESTION_BROKEN) &&
               strcmp(last->id, step->said.session) == 0) {
        last->length_s = 0.0;
    }
    return 0;
}

int ask_refuse_overlap(struct night_reader *reader, int64_t now_ns, struct error *error)
{
    struct last last = {.length_s = 0.0};
    if (night_each_question(reader, take_step, &last, error) != 0) {
        return -1;
    }
    return last.length_s > 0.0
               ? holding_refuse_overlap(last.id, last.started_ns, last.length_s, now_ns, error)
               : 0;
}

void ask_say_learning(size_t learning, struct text *out)
{
    if (learning > 0) {
        (void)text_append_format(out,
                                 "NOTE: %zu quantities are still learning what is usual, or are not"
                                 " heard: no response of theirs can count\nyet (the quiet spell"
                                 " tells).\n",
                                 learning);
    }
}
