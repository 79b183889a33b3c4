/* Rest, ask or be still, wait for a response; the seed last.
 * Must never tell the night of a window that was not held. Called by ask.c and acts_ask.c. */
#include "collector/questions/holding.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/text.h"

#define NS_PER_S 1e9
#define WHY_SIZE 256
/* A session that was left without a word of its end is waited for so much longer. Our choice. */
#define LEFT_S 30.0

struct holding {
    const struct question_plan *plan;
    uint8_t seed[DRAW_SEED_SIZE];
    struct draw_window windows[DRAW_WINDOWS_MAX];
    size_t count;
    size_t at;
    enum holding_stage stage;
    char id[IDENT_SIZE];
    struct text bound; /* what binds the seed, a space, the plan */
    char hex[DRAW_HEX_SIZE];
    char words[PLAN_QUESTION_SIZE];
};
_Static_assert(PLAN_QUESTION_SIZE >= WHY_SIZE, "a reason fits where a question does");

int holding_new(const struct question_plan *plan, const char *plan_text, size_t length,
                const uint8_t seed[DRAW_SEED_SIZE], struct holding **out, struct error *error)
{
    uint8_t bound[DRAW_SEED_SIZE];
    char hex[DRAW_HEX_SIZE];
    struct holding *holding = calloc(1, sizeof *holding);
    if (!holding) {
        return error_set(error, ERROR_MEMORY, "questions: out of memory");
    }
    holding->plan = plan;
    holding->count = 2 * plan->question_count;
    memcpy(holding->seed, seed, sizeof holding->seed);
    draw_windows(seed, plan, holding->windows);
    draw_bind(seed, plan_text, length, bound);
    draw_hex(bound, hex);
    (void)snprintf(holding->id, sizeof holding->id, "q-%.8s", hex);
    (void)text_append_format(&holding->bound, "%s ", hex);
    (void)text_append(&holding->bound, plan_text, length);
    if (holding->bound.failed) {
        holding_free(holding);
        return error_set(error, ERROR_MEMORY, "questions: out of memory");
    }
    *out = holding;
    return 0;
}

void holding_free(struct holding *holding)
{
    if (holding) {
        text_free(&holding->bound);
        free(holding);
    }
}

static void tell(const struct holding *holding, enum question_what what, char *text,
                 struct holding_step *step)
{
    bool window = what == QUESTION_ASKED || what == QUESTION_SILENT;
    step->told = true;
    step->said = (struct message_question){
        .what = what,
        .nth = window ? (uint32_t)holding->at + 1 : 0,
        .length_ns = window ? (int64_t)(holding->plan->window_s * NS_PER_S) : 0,
        .text = text};
    memcpy(step->said.session, holding->id, sizeof step->said.session);
}

static void rest(struct holding *holding, struct holding_step *step)
{
    holding->stage = HOLDING_REST;
    step->wait_s = holding->windows[holding->at].rest_s;
}

void holding_begin(struct holding *holding, struct holding_step *step)
{
    memset(step, 0, sizeof *step);
    rest(holding, step);
    step->stage = holding->stage;
    (void)snprintf(step->head, sizeof step->head, "session");
    (void)snprintf(step->text, sizeof step->text,
                   "%s, drawn and bound; %zu windows, at most %.0f min.", holding->id,
                   holding->count, plan_length_s(holding->plan) / 60.0);
    tell(holding, QUESTION_PLAN, holding->bound.bytes, step);
}

static void speak(struct holding *holding, struct holding_step *step)
{
    const struct draw_window *window = &holding->windows[holding->at];
    const struct question_plan *plan = holding->plan;
    holding->stage = HOLDING_SPEAK;
    step->wait_s = plan->ask_s;
    (void)snprintf(step->head, sizeof step->head, "%zu of %zu", holding->at + 1, holding->count);
    if (window->asked) {
        (void)snprintf(step->text, sizeof step->text, "ASK NOW: \"%s\" (%g s)",
                       plan->questions[window->question].text, plan->ask_s);
    } else {
        (void)snprintf(step->text, sizeof step->text, "nobody asks: be still (%g s)", plan->ask_s);
    }
}

static void wait_for_response(struct holding *holding, struct holding_step *step)
{
    const struct draw_window *window = &holding->windows[holding->at];
    const struct question_plan *plan = holding->plan;
    holding->stage = HOLDING_LISTEN;
    step->wait_s = plan->window_s;
    (void)snprintf(holding->words, sizeof holding->words, "%s",
                   window->asked ? plan->questions[window->question].text : "");
    tell(holding, window->asked ? QUESTION_ASKED : QUESTION_SILENT, holding->words, step);
    (void)snprintf(step->text, sizeof step->text, "now wait, all still, for %g s", plan->window_s);
}

static void end(struct holding *holding, struct holding_step *step)
{
    holding->stage = HOLDING_OVER;
    draw_hex(holding->seed, holding->hex);
    (void)snprintf(step->head, sizeof step->head, "over");
    (void)snprintf(step->text, sizeof step->text, "all windows were held");
    tell(holding, QUESTION_END, holding->hex, step);
}

void holding_next(struct holding *holding, struct holding_step *step)
{
    memset(step, 0, sizeof *step);
    if (holding->stage == HOLDING_REST) {
        speak(holding, step);
    } else if (holding->stage == HOLDING_SPEAK) {
        wait_for_response(holding, step);
    } else if (holding->stage == HOLDING_LISTEN && holding->at + 1 < holding->count) {
        holding->at++;
        rest(holding, step);
    } else if (holding->stage == HOLDING_LISTEN) {
        end(holding, step);
    }
    step->stage = holding->stage;
}

void holding_break(struct holding *holding, const char *why, struct holding_step *step)
{
    memset(step, 0, sizeof *step);
    step->stage = HOLDING_OVER;
    if (holding->stage == HOLDING_OVER) {
        return;
    }
    holding->stage = HOLDING_OVER;
    (void)snprintf(step->head, sizeof step->head, "BROKEN OFF");
    (void)snprintf(step->text, sizeof step->text, "%s", why);
    (void)snprintf(holding->words, sizeof holding->words, "%s", why);
    tell(holding, QUESTION_BROKEN, holding->words, step);
}

const char *holding_session(const struct holding *holding)
{
    return holding->id;
}

size_t holding_nth(const struct holding *holding)
{
    return holding->at + 1;
}

size_t holding_count(const struct holding *holding)
{
    return holding->count;
}

int holding_refuse_overlap(const char *session, int64_t started_ns, double plan_length,
                           int64_t now_ns, struct error *error)
{
    double left_s = plan_length + LEFT_S - (double)(now_ns - started_ns) / NS_PER_S;
    return left_s <= 0.0
               ? 0
               : error_set(error, ERROR_USAGE,
                           "session %s is being held: let it end, or end it first; if nobody holds "
                           "it any more, it counts as over in %.0f s at most",
                           session, left_s);
}
