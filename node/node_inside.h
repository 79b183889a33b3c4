/* What the node's files share: the parts on its loop.
 * Must never be used outside node/node*.c. */
#ifndef ROOMWAKE_NODE_NODE_INSIDE_H
#define ROOMWAKE_NODE_NODE_INSIDE_H

#include "node/battery.h"
#include "node/flusher.h"
#include "node/node.h"
#include "node/pace.h"
#include "node/publisher.h"
#include "node/sampler.h"
#include "node/timekeeper.h"

struct node {
    const struct node_config *config;
    struct clock_source clock;
    uv_loop_t loop;
    struct spool *spool;
    struct sampler *sampler;
    struct timekeeper *timekeeper;
    struct publisher *publisher;
    struct mqtt_uv *mqtt;
    struct flusher flusher;
    struct pace health_pace;
    struct battery battery;
    struct pace tick_pace; /* lets the publisher see time go by */
    uv_check_t awake;      /* after each wait, before anything else is done */
    int64_t slept_before_ns;
    bool found; /* a sensor that was missing at the start */
    bool over;  /* another boot follows: `next` is for it */
    struct anew next;
    uv_signal_t signals[2];
    uv_timer_t end_limit;
    struct message_hello hello;
    int64_t since_ns; /* it samples */
    bool ending;
    bool end_is_late;
    char last_why[128];
    int64_t sensors_ns; /* the next state tells of each sensor */
    uint8_t bytes[WIRE_MESSAGE_MAX];
};

static inline int64_t node_now_ns(const struct node *node)
{
    return node->clock.mono_ns(node->clock.context);
}

/* node_broker.c: the client, not yet started; its handlers feed the publisher. */
int node_make_broker(struct node *node, struct error *error);
struct publisher_link node_broker_link(struct node *node);

#endif
