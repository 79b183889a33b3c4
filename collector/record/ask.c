/* A session's steps on a loop: rest, ask or be still, wait for a response; each told as it begins.
 * Must never go on when the base station could not be told. Called by cmd_ask.c. */
#include "collector/record/ask.h"

#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <uv.h>

#include "collector/questions/draw.h"
#include "common/mqtt_uv.h"
#include "common/topic.h"

#define CLIENT_ID_SIZE 64
#define AT_SIZE 300
#define CONNECT_LIMIT_MS 5000u
#define LAST_WORD_LIMIT_MS 10000u
#define MS_PER_S 1000.0
#define NS_PER_S 1e9

enum stage { STAGE_CONNECT, STAGE_REST, STAGE_SPEAK, STAGE_LISTEN, STAGE_LAST_WORD };

struct session {
    const struct ask_settings *settings;
    struct mqtt_uv *mqtt;
    uv_timer_t timer;
    uv_signal_t signals[2];
    char broker_at[AT_SIZE]; /* without its password */
    char topic[TOPIC_SIZE];
    char id[IDENT_SIZE];
    uint8_t seed[DRAW_SEED_SIZE];
    struct draw_window windows[DRAW_WINDOWS_MAX];
    size_t count;
    size_t at; /* the window that comes or is being held */
    enum stage stage;
    int last_message;
    bool leaving;
    bool broken;
    struct error error;
};

static void say(const char *head, const char *text)
{
    printf("%-12s %s\n", head, text);
    (void)fflush(stdout);
}

static void on_stopped(void *context)
{
    (void)context;
}

static void leave(struct session *session)
{
    if (session->leaving) {
        return;
    }
    session->leaving = true;
    mqtt_uv_stop(session->mqtt, on_stopped, NULL);
    uv_close((uv_handle_t *)&session->timer, NULL);
    for (size_t i = 0; i < 2; i++) {
        uv_close((uv_handle_t *)&session->signals[i], NULL);
    }
}

static int publish(struct session *session, enum question_what what, double length_s, char *text)
{
    struct text json = {0};
    struct message_question said = {
        .what = what,
        .nth = what == QUESTION_ASKED || what == QUESTION_SILENT ? (uint32_t)session->at + 1 : 0,
        .length_ns = (int64_t)(length_s * NS_PER_S),
        .text = text};
    memcpy(said.session, session->id, sizeof said.session);
    int result = message_question_write(&said, &json) != 0
                     ? error_set(&session->error, ERROR_MEMORY, "question: out of memory")
                     : mqtt_uv_publish(session->mqtt, session->topic, json.bytes, json.length, 1,
                                       false, &session->last_message, &session->error);
    text_free(&json);
    return result;
}

static void on_timer(uv_timer_t *timer);

static void wait_for(struct session *session, enum stage stage, double seconds)
{
    session->stage = stage;
    (void)uv_timer_start(&session->timer, on_timer, (uint64_t)(seconds * MS_PER_S), 0);
}

/* The last thing the night hears of this session; then the broker's word is waited for. */
static void last_word(struct session *session, enum question_what what, char *text)
{
    if (publish(session, what, 0, text) != 0) {
        session->broken = true;
        leave(session);
        return;
    }
    wait_for(session, STAGE_LAST_WORD, LAST_WORD_LIMIT_MS / MS_PER_S);
}

static void break_off(struct session *session, const char *why)
{
    char text[256];
    if (session->stage == STAGE_LAST_WORD) {
        return;
    }
    session->broken = true;
    (void)error_set(&session->error, ERROR_STATE, "broken off: %s", why);
    (void)snprintf(text, sizeof text, "%s", why);
    say("BROKEN OFF", why);
    if (session->stage == STAGE_CONNECT) {
        leave(session);
    } else {
        last_word(session, QUESTION_BROKEN, text);
    }
}

static void begin_rest(struct session *session)
{
    wait_for(session, STAGE_REST, session->windows[session->at].rest_s);
}

static void begin_speaking(struct session *session)
{
    const struct draw_window *window = &session->windows[session->at];
    const struct question_plan *plan = session->settings->plan;
    char head[32];
    char text[PLAN_QUESTION_SIZE + 128];
    (void)snprintf(head, sizeof head, "%zu of %zu", session->at + 1, session->count);
    if (window->asked) {
        (void)snprintf(text, sizeof text, "ASK NOW: \"%s\" (%g s)",
                       plan->questions[window->question].text, plan->ask_s);
    } else {
        (void)snprintf(text, sizeof text, "nobody asks: be still (%g s)", plan->ask_s);
    }
    say(head, text);
    wait_for(session, STAGE_SPEAK, plan->ask_s);
}

static void begin_listening(struct session *session)
{
    const struct draw_window *window = &session->windows[session->at];
    const struct question_plan *plan = session->settings->plan;
    char text[PLAN_QUESTION_SIZE];
    (void)snprintf(text, sizeof text, "%s",
                   window->asked ? plan->questions[window->question].text : "");
    if (publish(session, window->asked ? QUESTION_ASKED : QUESTION_SILENT, plan->window_s, text) !=
        0) {
        break_off(session, "the base station can't be reached");
        return;
    }
    (void)snprintf(text, sizeof text, "now wait, all still, for %g s", plan->window_s);
    say("", text);
    wait_for(session, STAGE_LISTEN, plan->window_s);
}

static void end_listening(struct session *session)
{
    char hex[DRAW_HEX_SIZE];
    session->at++;
    if (session->at < session->count) {
        begin_rest(session);
        return;
    }
    draw_hex(session->seed, hex);
    say("over", "all windows were held; \"roomwake answers NIGHT\" tells the outcome");
    last_word(session, QUESTION_END, hex);
}

static void on_timer(uv_timer_t *timer)
{
    struct session *session = timer->data;
    switch (session->stage) {
    case STAGE_CONNECT:
        (void)error_set(&session->error, ERROR_NETWORK, "%s: the broker did not answer",
                        session->broker_at);
        session->broken = true;
        leave(session);
        break;
    case STAGE_REST:
        begin_speaking(session);
        break;
    case STAGE_SPEAK:
        begin_listening(session);
        break;
    case STAGE_LISTEN:
        end_listening(session);
        break;
    case STAGE_LAST_WORD:
        (void)error_set(&session->error, ERROR_NETWORK,
                        "the broker did not take the session's last word");
        session->broken = true;
        leave(session);
        break;
    }
}

/* The plan goes first, with what binds the seed: from here on nothing can be chosen any more. */
static void begin(struct session *session)
{
    const struct ask_settings *settings = session->settings;
    uint8_t bound[DRAW_SEED_SIZE];
    char hex[DRAW_HEX_SIZE];
    char line[256];
    struct text text = {0};
    draw_bind(session->seed, settings->plan_text, settings->plan_length, bound);
    draw_hex(bound, hex);
    (void)snprintf(session->id, sizeof session->id, "q-%.8s", hex);
    (void)text_append_format(&text, "%s ", hex);
    (void)text_append(&text, settings->plan_text, settings->plan_length);
    if (text.failed || publish(session, QUESTION_PLAN, 0, text.bytes) != 0) {
        session->broken = true;
        leave(session);
    } else {
        (void)snprintf(line, sizeof line,
                       "%s, drawn and bound; %zu windows, at most %.0f min. End it early with"
                       " Ctrl-C: it then counts as broken off.",
                       session->id, session->count, plan_length_s(settings->plan) / 60.0);
        say("session", line);
        begin_rest(session);
    }
    text_free(&text);
}

static void on_up(void *context)
{
    struct session *session = context;
    if (session->stage == STAGE_CONNECT) {
        begin(session);
    }
}

static void on_down(void *context, const char *why)
{
    struct session *session = context;
    if (session->stage != STAGE_CONNECT) {
        printf("%-12s %s\n", "no link", why); /* a window that begins without one breaks it off */
    }
}

static void on_acknowledged(void *context, int message_id)
{
    struct session *session = context;
    if (session->stage == STAGE_LAST_WORD && message_id == session->last_message) {
        leave(session);
    }
}

static void on_signal(uv_signal_t *handle, int number)
{
    (void)number;
    break_off(handle->data, "stopped by the team");
}

static int run(uv_loop_t *loop, struct session *session, const struct mqtt_config *config,
               struct error *error)
{
    static const int numbers[] = {SIGINT, SIGTERM};
    const struct mqtt_handlers handlers = {
        .context = session, .on_up = on_up, .on_down = on_down, .on_acknowledged = on_acknowledged};
    if (mqtt_uv_new(loop, config, &handlers, &session->mqtt, error) != 0) {
        return -1;
    }
    (void)uv_timer_init(loop, &session->timer);
    session->timer.data = session;
    for (size_t i = 0; i < 2; i++) {
        (void)uv_signal_init(loop, &session->signals[i]);
        session->signals[i].data = session;
        (void)uv_signal_start(&session->signals[i], on_signal, numbers[i]);
    }
    wait_for(session, STAGE_CONNECT, CONNECT_LIMIT_MS / MS_PER_S);
    mqtt_uv_start(session->mqtt);
    (void)uv_run(loop, UV_RUN_DEFAULT);
    mqtt_uv_free(session->mqtt);
    if (!session->broken) {
        return 0;
    }
    *error = session->error;
    return -1;
}

int ask_run(const struct ask_settings *settings, struct error *error)
{
    struct mqtt_config config;
    char client_id[CLIENT_ID_SIZE];
    char *storage = NULL;
    uv_loop_t loop;
    struct session *session = calloc(1, sizeof *session);
    if (!session) {
        return error_set(error, ERROR_MEMORY, "ask: out of memory");
    }
    memset(&config, 0, sizeof config);
    session->settings = settings;
    session->count = 2 * settings->plan->question_count;
    draw_seed(session->seed);
    draw_windows(session->seed, settings->plan, session->windows);
    topic_format(TOPIC_QUESTION, settings->site, "", session->topic);
    (void)snprintf(client_id, sizeof client_id, "roomwake-ask-%ld", (long)getpid());
    int result = mqtt_url_parse(settings->broker_url, &config, &storage, error);
    config.client_id = client_id;
    config.clean_session = true;
    if (result == 0) {
        mqtt_url_plain(&config, session->broker_at, sizeof session->broker_at);
        result = uv_loop_init(&loop) == 0 ? run(&loop, session, &config, error)
                                          : error_set(error, ERROR_MEMORY, "ask: out of memory");
        (void)uv_loop_close(&loop);
    }
    free(storage);
    free(session);
    return result;
}
