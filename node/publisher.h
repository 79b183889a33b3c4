/* The spool's frames to the broker, in order, and again until the collector has stored them.
 * Must never hold more than PUBLISHER_WINDOW frames out, nor frames of two boots at once, and never
 * touch a clock or a socket: time comes in, messages go out through the link. Fed by node.c. */
#ifndef ROOMWAKE_NODE_PUBLISHER_H
#define ROOMWAKE_NODE_PUBLISHER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/clock_fit.h"
#include "common/error.h"
#include "common/message.h"
#include "node/spool.h"

#define PUBLISHER_WINDOW 64u
/* Nothing stored for so long while frames are out: they are sent again. */
#define PUBLISHER_STALL_NS INT64_C(5000000000)
/* So long, and the collector says once more what it said before: it misses them. */
#define PUBLISHER_REPEAT_NS INT64_C(1000000000)

/* The way to the broker, as mqtt_uv offers it. */
struct publisher_link {
    void *context;
    int (*publish)(void *context, const char *topic, const void *payload, size_t length, int qos,
                   bool retain, struct error *error);
    int (*subscribe)(void *context, const char *filter, int qos, struct error *error);
};

enum publisher_state {
    PUBLISHER_OFFLINE,  /* no broker */
    PUBLISHER_DRAINING, /* frames may leave */
    PUBLISHER_WAITING,  /* all are out, or as many as may be; or the clock is not known yet */
};

struct publisher;

struct publisher_setup {
    const char *site;
    const char *node;
    const struct message_hello *hello; /* copied */
    struct spool *spool;               /* must outlive the publisher */
    struct publisher_link link;
};

int publisher_new(const struct publisher_setup *setup, struct publisher **publisher,
                  struct error *error);
void publisher_free(struct publisher *publisher);

/* The broker is there: hello, state and the subscription again, then the frames from the first. */
void publisher_up(struct publisher *publisher, int64_t now_ns);
void publisher_down(struct publisher *publisher);
/* NODE/stored came in. */
void publisher_message(struct publisher *publisher, const char *topic, const uint8_t *payload,
                       size_t length, int64_t now_ns);
/* The clock as now known; frames of this boot wait for the first that is known. */
void publisher_set_fit(struct publisher *publisher, const struct clock_fit *fit, int64_t now_ns);
/* A frame was appended, or time went by (at least once a second): sends what may be sent. */
void publisher_pump(struct publisher *publisher, int64_t now_ns);

/* Sends the state now if the broker is there, and once more at each publisher_up. */
void publisher_set_state(struct publisher *publisher, const struct message_state *state);

enum publisher_state publisher_state(const struct publisher *publisher);
/* {"version":1,"gone":true}, for the last will; free with text_free. */
int publisher_will(struct text *out);

#endif
