/* The acts' tick, their thread, and who is asked for what.
 * Must never look at a watch while the thread has it. Called by session_page.c. */
#include "collector/record/acts.h"

#include <stdlib.h>
#include <string.h>

#include "collector/record/acts_inside.h"
#include "common/log.h"

#define TICK_MS 500u

int64_t acts_now_ns(const struct acts *acts)
{
    return acts->settings.now_ns(acts->settings.context);
}

void acts_tell(struct acts *acts)
{
    struct text json = {0};
    acts_write(acts, &json);
    if (json.failed) {
        log_warning("acts: out of memory: the page shows how they stood before");
    } else if (!acts->json.bytes || strcmp(json.bytes, acts->json.bytes) != 0) {
        text_free(&acts->json);
        acts->json = json;
        web_live_acts(acts->settings.live, json.bytes);
        return;
    }
    text_free(&json);
}

/* The thread. */
static void on_look(void *context)
{
    struct acts *acts = context;
    acts_before_look(acts);
    acts_quiet_look(acts);
    acts_ask_look(acts);
}

static void on_back(void *context)
{
    struct acts *acts = context;
    acts_before_back(acts);
    acts_quiet_back(acts);
    acts_ask_back(acts);
    acts_tell(acts);
}

static void on_tick(uv_timer_t *timer)
{
    struct acts *acts = timer->data;
    int64_t now_ns = acts_now_ns(acts);
    if (errand_is_busy(acts->errand)) {
        return; /* the disk is slow: no second question before the first is answered */
    }
    acts_quiet_tick(acts);
    acts->look = (struct act_look){
        .now_ns = now_ns,
        .preflight = acts->preflight.state == ACT_RUNNING,
        .walk = acts->walk.state == ACT_RUNNING,
        .summary = acts->quiet.summary_due,
        .answers = acts->ask.answers_ns != 0 && now_ns >= acts->ask.answers_ns,
    };
    if (acts->look.preflight || acts->look.walk || acts->look.summary || acts->look.answers) {
        (void)errand_send(acts->errand);
    } else {
        acts_tell(acts);
    }
}

int acts_new(const struct acts_settings *settings, struct acts **out, struct error *error)
{
    struct acts *acts = calloc(1, sizeof *acts);
    if (!acts) {
        return error_set(error, ERROR_MEMORY, "acts: out of memory");
    }
    acts->settings = *settings;
    if (errand_new(settings->loop, on_look, on_back, acts, &acts->errand, error) != 0) {
        free(acts);
        return -1;
    }
    (void)uv_timer_init(settings->loop, &acts->tick);
    (void)uv_timer_init(settings->loop, &acts->ask.timer);
    acts->tick.data = acts;
    acts->ask.timer.data = acts;
    (void)uv_timer_start(&acts->tick, on_tick, TICK_MS, TICK_MS);
    acts_tell(acts);
    *out = acts;
    return 0;
}

int acts_refuse_session(const struct acts *acts, struct error *error)
{
    const struct act_ask *ask = &acts->ask;
    return ask->open_ns == 0 ? 0
                             : holding_refuse_overlap(ask->open_id, ask->open_ns,
                                                      ask->open_length_s, acts_now_ns(acts), error);
}

int acts_do(struct acts *acts, const struct web_act *asked, struct text *said, struct error *error)
{
    static int (*const kinds[WEB_ACT_COUNT])(struct acts * acts, const struct web_act *asked,
                                             struct text *said, struct error *error) = {
        [WEB_ACT_PREFLIGHT] = acts_preflight,
        [WEB_ACT_WALK] = acts_walk,
        [WEB_ACT_QUIET] = acts_quiet,
        [WEB_ACT_ASK] = acts_ask};
    if (acts->closing) {
        return error_set(error, ERROR_STATE, "nothing is being recorded any more");
    }
    if (errand_is_busy(acts->errand) && asked->what != WEB_ACT_CHECK &&
        (asked->kind == WEB_ACT_PREFLIGHT || asked->kind == WEB_ACT_WALK)) {
        return error_set(error, ERROR_BUSY, "the night is being read just now: try again");
    }
    int result = kinds[asked->kind](acts, asked, said, error);
    if (!errand_is_busy(acts->errand)) {
        acts_tell(acts);
    }
    return result;
}

void acts_stop(struct acts *acts)
{
    if (acts && !acts->closing) {
        acts_ask_break(acts, "the night was ended");
        acts->closing = true;
        (void)uv_timer_stop(&acts->tick);
    }
}

void acts_close(struct acts *acts)
{
    if (acts && !acts->closed) {
        acts->closing = true;
        acts->closed = true;
        errand_close(acts->errand);
        acts_before_free(acts);
        uv_close((uv_handle_t *)&acts->tick, NULL);
        uv_close((uv_handle_t *)&acts->ask.timer, NULL);
    }
}

void acts_free(struct acts *acts)
{
    if (acts) {
        errand_free(acts->errand);
        acts_ask_free(acts);
        text_free(&acts->look.summary_text);
        text_free(&acts->look.answers_text);
        text_free(&acts->quiet.summary);
        text_free(&acts->json);
        free(acts);
    }
}
