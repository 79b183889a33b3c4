/* Alerts to the site's `alert` topic, through a publish function that the session gives.
 * Must never lose the newest alert to a broker that is away for a while.
 * Called through outlet.h. */
#include <stdlib.h>
#include <string.h>

#include "collector/alert/outlet.h"
#include "common/log.h"
#include "common/topic.h"

struct outlet_mqtt {
    struct outlet head;
    outlet_publish publish;
    void *publish_context;
    char topic[TOPIC_SIZE];
    char *waiting; /* the newest that could not leave; NULL for none */
    size_t waiting_length;
};

static void keep(struct outlet_mqtt *mqtt, const char *json, size_t length)
{
    char *copy = malloc(length);
    if (!copy) {
        log_error("alert: not published: out of memory");
        return;
    }
    memcpy(copy, json, length);
    free(mqtt->waiting);
    mqtt->waiting = copy;
    mqtt->waiting_length = length;
}

static void mqtt_raise(struct outlet *outlet, const struct alert *alert)
{
    struct outlet_mqtt *mqtt = (struct outlet_mqtt *)outlet;
    if (mqtt->publish(mqtt->publish_context, mqtt->topic, alert->json, alert->json_length)) {
        log_warning("alert: not published now, the broker is away: it waits");
        keep(mqtt, alert->json, alert->json_length);
    }
}

void outlet_mqtt_up(struct outlet *outlet)
{
    struct outlet_mqtt *mqtt = (struct outlet_mqtt *)outlet;
    if (mqtt->waiting && mqtt->publish(mqtt->publish_context, mqtt->topic, mqtt->waiting,
                                       mqtt->waiting_length) == 0) {
        free(mqtt->waiting);
        mqtt->waiting = NULL;
    }
}

static void mqtt_close(struct outlet *outlet)
{
    if (outlet->on_closed) {
        outlet->on_closed(outlet->context);
    }
}

static void mqtt_free(struct outlet *outlet)
{
    struct outlet_mqtt *mqtt = (struct outlet_mqtt *)outlet;
    free(mqtt->waiting);
    free(mqtt);
}

int outlet_mqtt_new(const struct site *site, outlet_publish publish, void *context,
                    struct outlet **outlet, struct error *error)
{
    static const struct outlet_kind kind = {"mqtt", mqtt_raise, mqtt_close, mqtt_free};
    struct outlet_mqtt *mqtt = calloc(1, sizeof *mqtt);
    if (!mqtt) {
        return error_set(error, ERROR_MEMORY, "alerts: out of memory");
    }
    mqtt->head.kind = &kind;
    mqtt->publish = publish;
    mqtt->publish_context = context;
    topic_format(TOPIC_ALERT, site->id, "", mqtt->topic);
    *outlet = &mqtt->head;
    return 0;
}
