/* Connect, publish one mark, wait for the broker's word, leave.
 * Must never wait for ever. Called by cmd_mark.c. */
#include "collector/record/send_mark.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include <uv.h>

#include "common/mqtt_uv.h"
#include "common/topic.h"

#define DEADLINE_MS 5000u
#define CLIENT_ID_SIZE 64
#define AT_SIZE 300

struct sending {
    struct mqtt_uv *mqtt;
    uv_timer_t deadline;
    char topic[TOPIC_SIZE];
    struct text json;
    int message_id;
    bool acknowledged;
    bool stopping;
    struct error error;
};

static void on_stopped(void *context)
{
    (void)context;
}

static void leave(struct sending *sending)
{
    if (!sending->stopping) {
        sending->stopping = true;
        mqtt_uv_stop(sending->mqtt, on_stopped, NULL);
        uv_close((uv_handle_t *)&sending->deadline, NULL);
    }
}

static void on_up(void *context)
{
    struct sending *sending = context;
    if (mqtt_uv_publish(sending->mqtt, sending->topic, sending->json.bytes, sending->json.length, 1,
                        false, &sending->message_id, &sending->error) != 0) {
        leave(sending);
    }
}

static void on_down(void *context, const char *why)
{
    struct sending *sending = context;
    (void)error_set(&sending->error, ERROR_NETWORK, "broker: %s", why);
}

static void on_acknowledged(void *context, int message_id)
{
    struct sending *sending = context;
    if (message_id == sending->message_id) {
        sending->acknowledged = true;
        leave(sending);
    }
}

static void on_deadline(uv_timer_t *timer)
{
    leave(timer->data);
}

static int run(uv_loop_t *loop, struct sending *sending, const struct mqtt_config *config,
               struct error *error)
{
    const struct mqtt_handlers handlers = {
        .context = sending, .on_up = on_up, .on_down = on_down, .on_acknowledged = on_acknowledged};
    if (mqtt_uv_new(loop, config, &handlers, &sending->mqtt, error) != 0) {
        return -1;
    }
    (void)uv_timer_init(loop, &sending->deadline);
    sending->deadline.data = sending;
    (void)uv_timer_start(&sending->deadline, on_deadline, DEADLINE_MS, 0);
    mqtt_uv_start(sending->mqtt);
    (void)uv_run(loop, UV_RUN_DEFAULT);
    mqtt_uv_free(sending->mqtt);
    if (sending->acknowledged) {
        return 0;
    }
    *error = sending->error;
    return -1;
}

int send_mark(const char *broker_url, const char *site, const struct message_mark *mark,
              struct error *error)
{
    struct mqtt_config config;
    struct sending sending;
    char client_id[CLIENT_ID_SIZE];
    char at[AT_SIZE];
    char *storage = NULL;
    uv_loop_t loop;
    memset(&config, 0, sizeof config);
    memset(&sending, 0, sizeof sending);
    if (mqtt_url_parse(broker_url, &config, &storage, error) != 0) {
        return -1;
    }
    mqtt_url_plain(&config, at, sizeof at);
    (void)error_set(&sending.error, ERROR_NETWORK, "%s: the broker did not answer", at);
    (void)snprintf(client_id, sizeof client_id, "roomwake-mark-%ld", (long)getpid());
    config.client_id = client_id;
    config.clean_session = true;
    topic_format(TOPIC_MARK, site, "", sending.topic);
    int result = -1;
    if (message_mark_write(mark, &sending.json) != 0 || uv_loop_init(&loop) != 0) {
        (void)error_set(error, ERROR_MEMORY, "mark: out of memory");
    } else {
        result = run(&loop, &sending, &config, error);
        (void)uv_loop_close(&loop);
    }
    text_free(&sending.json);
    free(storage);
    return result;
}
