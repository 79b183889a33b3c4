/* The session's side of the broker: connect, subscribe, hand messages to the intake, publish.
 * Must never look into a message. Called by session.c and by the MQTT client. */
#include "collector/record/session_parts.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "common/log.h"
#include "common/topic.h"

#define CLIENT_ID_SIZE 96

static void on_up(void *context)
{
    static const enum topic_kind kinds[] = {TOPIC_HELLO, TOPIC_BLOCKS, TOPIC_STATE,
                                            TOPIC_SENML, TOPIC_MARK,   TOPIC_QUESTION};
    struct session *session = context;
    char filter[TOPIC_SIZE];
    struct error error;
    session->was_up = true;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        topic_format_filter(kinds[i], session->settings->site->id, filter);
        if (mqtt_uv_subscribe(session->mqtt, filter, 1, &error) != 0) {
            log_error("%s: %s", filter, error.text);
        }
    }
    /* Said when marks are listened for, not before: whoever reads it may send one at once. */
    station_broker(session->station, true, "");
    web_live_broker(session->live, true, "");
    ack_repeat_all(session->ack);
    outlet_mqtt_up(session->outlets[OUTLET_MQTT]);
}

static void on_down(void *context, const char *why)
{
    struct session *session = context;
    /* A broker of our own takes a moment to begin; if it can't, the child says so itself. */
    bool beginning = session->broker && !session->was_up;
    if (!session->stopping && !beginning) {
        station_broker(session->station, false, why);
        web_live_broker(session->live, false, why);
    }
}

static void on_message(void *context, const char *topic, const uint8_t *payload, size_t length,
                       bool retained)
{
    (void)retained;
    struct session *session = context;
    if (!session->stopping) {
        intake_message(session->intake, topic, payload, length);
    }
}

int session_publish_stored(void *context, const char *topic, const char *payload, size_t length)
{
    struct session *session = context;
    struct error error;
    if (!session->mqtt || !mqtt_uv_is_up(session->mqtt)) {
        return -1;
    }
    return mqtt_uv_publish(session->mqtt, topic, payload, length, 1, true, NULL, &error);
}

int session_publish_alert(void *context, const char *topic, const void *payload, size_t length)
{
    struct session *session = context;
    struct error error;
    if (!session->mqtt || !mqtt_uv_is_up(session->mqtt)) {
        return -1;
    }
    return mqtt_uv_publish(session->mqtt, topic, payload, length, 1, false, NULL, &error);
}

int session_link_start(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    struct mqtt_config config;
    memset(&config, 0, sizeof config);
    if (settings->broker_url) {
        (void)snprintf(session->url, sizeof session->url, "%s", settings->broker_url);
    } else {
        (void)snprintf(session->url, sizeof session->url,
                       strchr(settings->listen_host, ':') ? "mqtt://[%s]:%d" : "mqtt://%s:%d",
                       settings->listen_host, settings->listen_port);
    }
    if (mqtt_url_parse(session->url, &config, &session->mqtt_storage, error) != 0) {
        return -1;
    }
    char client_id[CLIENT_ID_SIZE];
    (void)snprintf(client_id, sizeof client_id, "roomwake-%s-base-%ld", settings->site->id,
                   (long)getpid());
    config.client_id = client_id;
    /* Nodes send again what was not stored, so nothing is to be kept for us by the broker. */
    config.clean_session = true;
    const struct mqtt_handlers handlers = {
        .context = session, .on_up = on_up, .on_down = on_down, .on_message = on_message};
    if (mqtt_uv_new(&session->loop, &config, &handlers, &session->mqtt, error) != 0) {
        return -1;
    }
    mqtt_uv_start(session->mqtt);
    return 0;
}
