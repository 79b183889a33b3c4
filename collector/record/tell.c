/* Connect, listen for answers, publish, wait for the one that quotes us, leave.
 * Must never wait for ever. Called by cmd_mark.c, cmd_baseline.c and cmd_chirp.c. */
#include "collector/record/tell.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>
#include <uv.h>

#include "common/mqtt_uv.h"
#include "common/topic.h"

#define DEADLINE_MS 5000u
#define CLIENT_ID_SIZE 64
#define AT_SIZE 300

struct telling {
    struct mqtt_uv *mqtt;
    uv_timer_t deadline;
    char topic[TOPIC_SIZE];
    char answers[TOPIC_SIZE];
    char ref[IDENT_SIZE];
    struct text json;
    bool answered;
    struct message_said said;
    bool stopping;
    struct error error;
};

static void on_stopped(void *context)
{
    (void)context;
}

static void leave(struct telling *telling)
{
    if (!telling->stopping) {
        telling->stopping = true;
        mqtt_uv_stop(telling->mqtt, on_stopped, NULL);
        uv_close((uv_handle_t *)&telling->deadline, NULL);
    }
}

static void on_up(void *context)
{
    struct telling *telling = context;
    if (mqtt_uv_subscribe(telling->mqtt, telling->answers, 1, &telling->error) != 0 ||
        mqtt_uv_publish(telling->mqtt, telling->topic, telling->json.bytes, telling->json.length, 1,
                        false, NULL, &telling->error) != 0) {
        leave(telling);
        return;
    }
    (void)error_set(&telling->error, ERROR_NETWORK,
                    "the broker took it, but no base station answered: is it recording?");
}

static void on_down(void *context, const char *why)
{
    struct telling *telling = context;
    (void)error_set(&telling->error, ERROR_NETWORK, "broker: %s", why);
}

static void on_message(void *context, const char *topic, const uint8_t *payload, size_t length,
                       bool retained)
{
    struct telling *telling = context;
    struct message_said said;
    struct error ignored; /* somebody else's words */
    (void)topic;
    if (!retained && message_said_read((const char *)payload, length, &said, &ignored) == 0 &&
        strcmp(said.ref, telling->ref) == 0) {
        telling->answered = true;
        telling->said = said;
        leave(telling);
    }
}

static void on_deadline(uv_timer_t *timer)
{
    leave(timer->data);
}

static int run(uv_loop_t *loop, struct telling *telling, const struct mqtt_config *config,
               struct error *error)
{
    const struct mqtt_handlers handlers = {
        .context = telling, .on_up = on_up, .on_down = on_down, .on_message = on_message};
    if (mqtt_uv_new(loop, config, &handlers, &telling->mqtt, error) != 0) {
        return -1;
    }
    (void)uv_timer_init(loop, &telling->deadline);
    telling->deadline.data = telling;
    (void)uv_timer_start(&telling->deadline, on_deadline, DEADLINE_MS, 0);
    mqtt_uv_start(telling->mqtt);
    (void)uv_run(loop, UV_RUN_DEFAULT);
    mqtt_uv_free(telling->mqtt);
    if (!telling->answered) {
        *error = telling->error;
        return -1;
    }
    return telling->said.error[0] == '\0'
               ? 0
               : error_set(error, ERROR_USAGE, "%s", telling->said.error);
}

/* Nobody else's for long enough. */
static void make_ref(char ref[IDENT_SIZE])
{
    uint32_t bits = 0;
    if (getrandom(&bits, sizeof bits, 0) != (ssize_t)sizeof bits) {
        bits = 0;
    }
    (void)snprintf(ref, IDENT_SIZE, "t%ld-%08x", (long)getpid(), (unsigned)bits);
}

static int tell(const char *broker_url, struct telling *telling, struct error *error)
{
    struct mqtt_config config;
    char client_id[CLIENT_ID_SIZE];
    char at[AT_SIZE];
    char *storage = NULL;
    uv_loop_t loop;
    memset(&config, 0, sizeof config);
    if (mqtt_url_parse(broker_url, &config, &storage, error) != 0) {
        return -1;
    }
    mqtt_url_plain(&config, at, sizeof at);
    (void)error_set(&telling->error, ERROR_NETWORK, "%s: the broker did not answer", at);
    (void)snprintf(client_id, sizeof client_id, "roomwake-%s", telling->ref);
    config.client_id = client_id;
    config.clean_session = true;
    int result = -1;
    if (uv_loop_init(&loop) != 0) {
        (void)error_set(error, ERROR_MEMORY, "out of memory");
    } else {
        result = run(&loop, telling, &config, error);
        (void)uv_loop_close(&loop);
    }
    free(storage);
    return result;
}

static void begin(struct telling *telling, enum topic_kind kind, const char *site)
{
    memset(telling, 0, sizeof *telling);
    make_ref(telling->ref);
    topic_format(kind, site, "", telling->topic);
    topic_format(TOPIC_SAID, site, "", telling->answers);
}

static int finish(const char *broker_url, struct telling *telling, bool written,
                  struct message_said *said, struct error *error)
{
    int result = written ? tell(broker_url, telling, error)
                         : error_set(error, ERROR_MEMORY, "out of memory");
    *said = telling->said;
    text_free(&telling->json);
    return result;
}

int tell_mark(const char *broker_url, const char *site, const struct message_mark *mark,
              struct message_said *said, struct error *error)
{
    struct telling telling;
    struct message_mark sent = *mark;
    begin(&telling, TOPIC_MARK, site);
    memcpy(sent.ref, telling.ref, sizeof sent.ref);
    bool written = message_mark_write(&sent, &telling.json) == 0;
    return finish(broker_url, &telling, written, said, error);
}

int tell_baseline(const char *broker_url, const char *site, const struct message_baseline *baseline,
                  struct message_said *said, struct error *error)
{
    struct telling telling;
    struct message_baseline sent = *baseline;
    begin(&telling, TOPIC_BASELINE, site);
    memcpy(sent.ref, telling.ref, sizeof sent.ref);
    bool written = message_baseline_write(&sent, &telling.json) == 0;
    return finish(broker_url, &telling, written, said, error);
}
