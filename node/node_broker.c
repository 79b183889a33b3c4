/* The node's side of the broker: who it is there, what comes and what goes.
 * Must never keep a message that its publisher has not asked for. Called by node.c. */
#include "node/node_inside.h"

#include <stdio.h>
#include <string.h>

#include "common/log.h"
#include "common/topic.h"

static void on_up(void *context)
{
    struct node *node = context;
    log_info("broker: connected");
    node->last_why[0] = '\0';
    publisher_up(node->publisher, node_now_ns(node));
}

static void on_down(void *context, const char *why)
{
    struct node *node = context;
    publisher_down(node->publisher);
    if (strncmp(node->last_why, why, sizeof node->last_why - 1) != 0) {
        log_warning("broker: %s", why); /* once, not at each attempt */
        snprintf(node->last_why, sizeof node->last_why, "%.127s", why);
    }
}

static void on_message(void *context, const char *topic, const uint8_t *payload, size_t length,
                       bool retained)
{
    struct node *node = context;
    (void)retained;
    publisher_message(node->publisher, topic, payload, length, node_now_ns(node));
}

static int link_publish(void *context, const char *topic, const void *payload, size_t length,
                        int qos, bool retain, struct error *error)
{
    struct node *node = context;
    return mqtt_uv_publish(node->mqtt, topic, payload, length, qos, retain, NULL, error);
}

static int link_subscribe(void *context, const char *filter, int qos, struct error *error)
{
    struct node *node = context;
    return mqtt_uv_subscribe(node->mqtt, filter, qos, error);
}

int node_make_broker(struct node *node, struct error *error)
{
    char client_id[2 * IDENT_SIZE + 16];
    char topic[TOPIC_SIZE];
    struct text will = {0};
    struct mqtt_config config = node->config->broker;
    struct mqtt_handlers handlers = {
        .context = node, .on_up = on_up, .on_down = on_down, .on_message = on_message};
    snprintf(client_id, sizeof client_id, "roomwake-%s-%s", node->config->site, node->config->node);
    topic_format(TOPIC_STATE, node->config->site, node->config->node, topic);
    if (publisher_will(&will)) {
        text_free(&will);
        return error_set(error, ERROR_MEMORY, "broker: out of memory");
    }
    config.client_id = client_id;
    config.will_topic = topic;
    config.will_payload = will.bytes;
    config.will_retain = true;
    config.clean_session = true; /* the spool is what is kept, not the library's queue */
    int rc = mqtt_uv_new(&node->loop, &config, &handlers, &node->mqtt, error);
    text_free(&will);
    return rc;
}

struct publisher_link node_broker_link(struct node *node)
{
    return (struct publisher_link){node, link_publish, link_subscribe};
}
