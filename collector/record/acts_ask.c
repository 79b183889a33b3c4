/* A question session held from the page: begun, stepped by a timer, ended or broken off, counted.
 * Must never go on when the night could not be told, nor let out what comes. Called by acts.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/export/answers_night.h"
#include "collector/record/acts_inside.h"
#include "collector/record/ask.h"
#include "common/clock.h"

/* Until the last window's findings are in the night: nodes are waited for, onsets belong together
 * across a while. */
#define COUNT_AFTER_NS (15 * NS_PER_S)
#define MS_PER_S 1000.0

static void take_step(struct acts *acts, const struct holding_step *step);

static void on_timer(uv_timer_t *timer)
{
    struct acts *acts = timer->data;
    struct holding_step step;
    if (acts->ask.holding && acts->ask.state == ACT_RUNNING) {
        holding_next(acts->ask.holding, &step);
        take_step(acts, &step);
        acts_tell(acts);
    }
}

static int tell_night(struct acts *acts, const struct holding_step *step)
{
    struct error error;
    if (step->told && acts->settings.question(acts->settings.context, &step->said, &error) != 0) {
        (void)snprintf(acts->ask.why, sizeof acts->ask.why, "the night did not take it: %.200s",
                       error.text);
        return -1;
    }
    return 0;
}

static void take_step(struct acts *acts, const struct holding_step *step)
{
    struct act_ask *ask = &acts->ask;
    bool over = step->stage == HOLDING_OVER;
    if (tell_night(acts, step) != 0 && !over) {
        char why[sizeof ask->why];
        memcpy(why, ask->why, sizeof why);
        acts_ask_break(acts, why);
        return;
    }
    ask->step = *step;
    if (step->text[0] || step->stage == HOLDING_REST) {
        memcpy(ask->said, step->text, sizeof ask->said);
    }
    if (over) {
        ask->state = ACT_OVER;
        ask->answers_ns = acts_now_ns(acts) + COUNT_AFTER_NS;
        return;
    }
    ask->until_ns = acts_now_ns(acts) + (int64_t)(step->wait_s * 1e9);
    (void)uv_timer_start(&ask->timer, on_timer, (uint64_t)(step->wait_s * MS_PER_S), 0);
}

void acts_ask_break(struct acts *acts, const char *why)
{
    struct act_ask *ask = &acts->ask;
    struct holding_step step;
    if (!ask->holding || ask->state != ACT_RUNNING) {
        return;
    }
    (void)uv_timer_stop(&ask->timer);
    holding_break(ask->holding, why, &step);
    take_step(acts, &step);
    ask->state = ACT_LEFT;
    ask->open_ns = 0; /* even where the night could not be told */
    if (why != ask->why) {
        (void)snprintf(ask->why, sizeof ask->why, "%s", why);
    }
}

/* What the commands look at before a session, in their order. */
static int read_plan(struct acts *acts, const struct web_act *asked, struct question_plan **plan,
                     struct error *error)
{
    if (!asked->plan) {
        return error_set(error, ERROR_USAGE, "plan: a session needs one, made before it is begun");
    }
    if (plan_parse(asked->plan, strlen(asked->plan), "plan", plan, error) != 0) {
        return -1;
    }
    if (plan_check_site(*plan, acts->settings.site, error) != 0) {
        free(*plan);
        return error_wrap(error, "plan");
    }
    return 0;
}

static int begin(struct acts *acts, const struct web_act *asked, struct question_plan *plan,
                 struct error *error)
{
    struct act_ask *ask = &acts->ask;
    struct holding *holding = NULL;
    struct holding_step step;
    uint8_t seed[DRAW_SEED_SIZE];
    if (acts_refuse_session(acts, error) != 0) {
        return -1;
    }
    if (acts->walk.state == ACT_RUNNING) {
        return error_set(error, ERROR_USAGE,
                         "a walk test is under way: let it end, or leave it off first");
    }
    draw_seed(seed);
    if (holding_new(plan, asked->plan, strlen(asked->plan), seed, &holding, error) != 0) {
        return -1;
    }
    holding_begin(holding, &step);
    if (acts->settings.question(acts->settings.context, &step.said, error) != 0) {
        holding_free(holding);
        return -1;
    }
    step.told = false; /* it has been */
    acts_ask_free(acts);
    ask->holding = holding;
    ask->plan = plan;
    ask->state = ACT_RUNNING;
    ask->answers_ns = 0;
    text_clear(&ask->answers);
    take_step(acts, &step);
    return 0;
}

static int check_or_begin(struct acts *acts, const struct web_act *asked, struct text *said,
                          struct error *error)
{
    struct question_plan *plan = NULL;
    if (read_plan(acts, asked, &plan, error) != 0) {
        return -1;
    }
    plan_say(plan, said);
    ask_say_learning(acts->settings.learning(acts->settings.context), said);
    if (asked->what == WEB_ACT_CHECK) {
        double length_s = plan_length_s(plan);
        (void)text_append_format(said, "It takes %.0f %s at most.\n",
                                 length_s < 120.0 ? length_s : length_s / 60.0,
                                 length_s < 120.0 ? "s" : "min");
        free(plan);
        return 0;
    }
    if (begin(acts, asked, plan, error) != 0) {
        free(plan);
        return -1;
    }
    return 0;
}

int acts_ask(struct acts *acts, const struct web_act *asked, struct text *said, struct error *error)
{
    struct act_ask *ask = &acts->ask;
    if (asked->what != WEB_ACT_END) {
        return check_or_begin(acts, asked, said, error);
    }
    if (!ask->holding || ask->state != ACT_RUNNING) {
        return error_set(error, ERROR_USAGE, "no question session is being held from the page");
    }
    acts_ask_break(acts, "stopped by the team");
    (void)text_append_format(said, "Broken off: it counts as a session that was tried.");
    return 0;
}

void acts_take_question(struct acts *acts, const struct question_step *step)
{
    struct act_ask *ask = acts ? &acts->ask : NULL;
    struct question_plan *plan = NULL;
    struct error ignored; /* a plan that can't be read holds nobody up */
    const struct message_question *said = &step->said;
    if (ask && said->what == QUESTION_PLAN && strlen(said->text) > DRAW_HEX_SIZE) {
        const char *text = said->text + DRAW_HEX_SIZE;
        memcpy(ask->open_id, said->session, sizeof ask->open_id);
        ask->open_ns = step->time_ns;
        ask->open_window = 0;
        ask->open_length_s = plan_parse(text, strlen(text), "plan", &plan, &ignored) == 0
                                 ? plan_length_s(plan)
                                 : 0.0;
        free(plan);
    } else if (ask && strcmp(ask->open_id, said->session) == 0) {
        bool over = said->what == QUESTION_END || said->what == QUESTION_BROKEN;
        ask->open_window = said->nth;
        ask->open_ns = over ? 0 : ask->open_ns;
        ask->answers_ns = over ? step->time_ns + COUNT_AFTER_NS : ask->answers_ns;
    }
}

/* On the thread. */
void acts_ask_look(struct acts *acts)
{
    struct act_look *look = &acts->look;
    struct error error = {.code = ERROR_NONE};
    struct night_reader *reader = NULL;
    char *bytes = NULL;
    size_t length = 0;
    FILE *out = look->answers ? open_memstream(&bytes, &length) : NULL;
    if (!out) {
        return;
    }
    bool good = night_reader_open(acts->settings.night_path, &reader, &error) == 0 &&
                answers_night_write(reader, NULL, out, &error) == 0;
    night_reader_close(reader);
    if (fclose(out) == 0 && good) {
        (void)text_append(&look->answers_text, bytes, length);
    } else {
        (void)text_append_format(&look->answers_text, "The answers can't be read: %s", error.text);
    }
    free(bytes);
}

void acts_ask_back(struct acts *acts)
{
    struct act_look *look = &acts->look;
    if (look->answers) {
        text_free(&acts->ask.answers);
        acts->ask.answers = look->answers_text;
        look->answers_text = (struct text){0};
        acts->ask.answers_ns = acts->ask.answers_ns > look->now_ns ? acts->ask.answers_ns : 0;
    }
}

void acts_ask_free(struct acts *acts)
{
    holding_free(acts->ask.holding);
    free(acts->ask.plan);
    acts->ask.holding = NULL;
    acts->ask.plan = NULL;
    if (acts->closing) {
        text_free(&acts->ask.answers);
    }
}
