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

#include "collector/questions/holding.h"
#include "common/mqtt_uv.h"
#include "common/topic.h"

#define CLIENT_ID_SIZE 64
#define AT_SIZE 300
#define CONNECT_LIMIT_MS 5000u
#define LAST_WORD_LIMIT_MS 10000u
#define MS_PER_S 1000.0

enum stage { STAGE_CONNECT, STAGE_HOLD, STAGE_LAST_WORD };

struct session {
    struct holding *holding;
    struct mqtt_uv *mqtt;
    uv_timer_t timer;
    uv_signal_t signals[2];
    char broker_at[AT_SIZE]; /* without its password */
    char topic[TOPIC_SIZE];
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

static int publish(struct session *session, const struct message_question *said)
{
    struct text json = {0};
    int result = message_question_write(said, &json) != 0
                     ? error_set(&session->error, ERROR_MEMORY, "question: out of memory")
                     : mqtt_uv_publish(session->mqtt, session->topic, json.bytes, json.length, 1,
                                       false, &session->last_message, &session->error);
    text_free(&json);
    return result;
}

static void on_timer(uv_timer_t *timer);

static void wait_for(struct session *session, double seconds)
{
    (void)uv_timer_start(&session->timer, on_timer, (uint64_t)(seconds * MS_PER_S), 0);
}

/* The last thing the night hears of this session; then the broker's word is waited for. */
static void last_word(struct session *session, const struct holding_step *step)
{
    session->stage = STAGE_LAST_WORD;
    if (publish(session, &step->said) != 0) {
        session->broken = true;
        leave(session);
        return;
    }
    wait_for(session, LAST_WORD_LIMIT_MS / MS_PER_S);
}

static void break_off(struct session *session, const char *why)
{
    struct holding_step step;
    if (session->stage == STAGE_LAST_WORD) {
        return;
    }
    session->broken = true;
    (void)error_set(&session->error, ERROR_STATE, "broken off: %s", why);
    holding_break(session->holding, why, &step);
    say(step.head, step.text);
    if (session->stage == STAGE_CONNECT) {
        leave(session);
    } else {
        last_word(session, &step);
    }
}

static void take_step(struct session *session, const struct holding_step *step)
{
    if (step->stage == HOLDING_OVER) {
        say(step->head, "all windows were held; \"roomwake answers NIGHT\" tells the outcome");
        last_word(session, step);
        return;
    }
    if (step->told && publish(session, &step->said) != 0) {
        break_off(session, "the base station can't be reached");
        return;
    }
    if (step->text[0]) {
        say(step->head, step->text);
    }
    wait_for(session, step->wait_s);
}

static void on_timer(uv_timer_t *timer)
{
    struct session *session = timer->data;
    struct holding_step step;
    switch (session->stage) {
    case STAGE_CONNECT:
        (void)error_set(&session->error, ERROR_NETWORK, "%s: the broker did not answer",
                        session->broker_at);
        session->broken = true;
        leave(session);
        break;
    case STAGE_HOLD:
        holding_next(session->holding, &step);
        take_step(session, &step);
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
    struct holding_step step;
    holding_begin(session->holding, &step);
    if (publish(session, &step.said) != 0) {
        session->broken = true;
        leave(session);
        return;
    }
    session->stage = STAGE_HOLD;
    say(step.head, step.text);
    say("", "End it early with Ctrl-C: it then counts as broken off.");
    wait_for(session, step.wait_s);
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
    wait_for(session, CONNECT_LIMIT_MS / MS_PER_S);
    mqtt_uv_start(session->mqtt);
    (void)uv_run(loop, UV_RUN_DEFAULT);
    mqtt_uv_free(session->mqtt);
    if (!session->broken) {
        return 0;
    }
    *error = session->error;
    return -1;
}

static int hold(const struct ask_settings *settings, struct session *session, struct error *error)
{
    struct mqtt_config config;
    char client_id[CLIENT_ID_SIZE];
    char *storage = NULL;
    uv_loop_t loop;
    memset(&config, 0, sizeof config);
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
    return result;
}

int ask_run(const struct ask_settings *settings, struct error *error)
{
    uint8_t seed[DRAW_SEED_SIZE];
    struct session *session = calloc(1, sizeof *session);
    if (!session) {
        return error_set(error, ERROR_MEMORY, "ask: out of memory");
    }
    draw_seed(seed);
    int result = holding_new(settings->plan, settings->plan_text, settings->plan_length, seed,
                             &session->holding, error);
    if (result == 0) {
        result = hold(settings, session, error);
    }
    holding_free(session->holding);
    free(session);
    return result;
}
