/* What the correlator has been told, in order of data time, whatever the order of telling.
 * Must never let the order of arrival show. Called by correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_QUEUE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_QUEUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/entry.h"
#include "collector/model/mark.h"
#include "common/error.h"

/* At one time: in this order. */
enum event_kind { EVENT_MARK, EVENT_SPELL, EVENT_WATCH, EVENT_OPEN, EVENT_CLOSE };

struct event {
    int64_t time_ns;
    enum event_kind kind;
    union {
        struct mark *mark;   /* EVENT_MARK; owned by the event */
        struct entry *entry; /* EVENT_OPEN, EVENT_CLOSE; not owned */
        struct {
            uint32_t node;
            char quantity[IDENT_SIZE];
        } watch; /* EVENT_WATCH */
    } of;
};

/* A heap. Caller-owned, start from {0}; fields are private. */
struct queue {
    size_t count;
    size_t size;
    struct event *events;
};

/* Makes room, so that the next `more` pushes can't fail. */
int queue_reserve(struct queue *queue, size_t more, struct error *error);
int queue_push(struct queue *queue, const struct event *event, struct error *error);
/* INT64_MAX when empty. */
int64_t queue_next_ns(const struct queue *queue);
/* The queue must not be empty. */
struct event queue_pop(struct queue *queue);
/* Frees also the marks that still wait. */
void queue_free(struct queue *queue);

#endif
