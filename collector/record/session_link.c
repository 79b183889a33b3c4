/* The session's side of the broker: connect, subscribe, hand messages to the intake, publish.
 * Must never look into a message. Called by session.c and by the MQTT client. */
#include "collector/record/session_parts.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "collector/enrol/users.h"
#include "common/log.h"
#include "common/service.h"
#include "common/topic.h"

#define CLIENT_ID_SIZE 96

static void on_up(void *context)
{
    static const enum topic_kind kinds[] = {TOPIC_HELLO, TOPIC_BLOCKS,   TOPIC_STATE,   TOPIC_SENML,
                                            TOPIC_MARK,  TOPIC_QUESTION, TOPIC_BASELINE};
    struct session *session = context;
    char filter[TOPIC_SIZE];
    struct error error;
    if (!session->was_up) {
        service_ready();
    }
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

/* A broker that listens everywhere is reached on this machine itself. */
static const char *reach(const char *host)
{
    if (strcmp(host, "0.0.0.0") == 0) {
        return "127.0.0.1";
    }
    return strcmp(host, "::") == 0 ? "::1" : host;
}

/* Where the base station's own tools find the broker, as whom, and whom they believe. */
static int make_url(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    size_t size = sizeof session->url;
    int used = 0;
    if (settings->broker_url) {
        used = snprintf(session->url, size, "%s", settings->broker_url);
    } else {
        const char *host = reach(settings->listen_host);
        bool six = strchr(host, ':') != NULL;
        const struct enrol_broker *keys = session->keys ? session_keys_broker(session->keys) : NULL;
        struct text path = {0};
        if (keys && mqtt_url_encode(keys->authority_path, &path) != 0) {
            text_free(&path);
            return error_set(error, ERROR_MEMORY, "broker: out of memory");
        }
        used = snprintf(session->url, size, "%s%s%s%s%s%s%s:%d%s%s", keys ? "mqtts://" : "mqtt://",
                        keys ? USERS_BASE ":" : "", keys ? keys->password : "", keys ? "@" : "",
                        six ? "[" : "", host, six ? "]" : "", settings->listen_port,
                        keys ? "?authority=" : "", keys ? path.bytes : "");
        text_free(&path);
    }
    return used >= 0 && (size_t)used < size
               ? 0
               : error_set(error, ERROR_RANGE, "broker: its address and keys are too long");
}

void session_publish_said(struct session *session, const struct message_said *said)
{
    char topic[TOPIC_SIZE];
    struct text json = {0};
    struct error error;
    topic_format(TOPIC_SAID, session->settings->site->id, "", topic);
    if (session->mqtt && mqtt_uv_is_up(session->mqtt) && message_said_write(said, &json) == 0 &&
        mqtt_uv_publish(session->mqtt, topic, json.bytes, json.length, 1, false, NULL, &error) !=
            0) {
        log_error("%s: %s", topic, error.text);
    }
    text_free(&json);
}

int session_link_start(struct session *session, struct error *error)
{
    const struct session_settings *settings = session->settings;
    struct mqtt_config config;
    memset(&config, 0, sizeof config);
    if (make_url(session, error) != 0 ||
        mqtt_url_parse(session->url, &config, &session->mqtt_storage, error) != 0) {
        return -1;
    }
    mqtt_url_plain(&config, session->broker_at, sizeof session->broker_at);
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
