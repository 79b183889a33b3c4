/* A binary heap of events with a total order.
 * Must never compare by address or by arrival. Called by correlator. */
#include "collector/correlate/queue.h"

#include <stdlib.h>
#include <string.h>

#include "collector/correlate/witness.h"

static int compare(const struct event *a, const struct event *b)
{
    if (a->time_ns != b->time_ns) {
        return a->time_ns < b->time_ns ? -1 : 1;
    }
    if (a->kind != b->kind) {
        return a->kind < b->kind ? -1 : 1;
    }
    switch (a->kind) {
    case EVENT_MARK:
        return (a->of.mark->id > b->of.mark->id) - (a->of.mark->id < b->of.mark->id);
    case EVENT_WATCH:
        if (a->of.watch.node != b->of.watch.node) {
            return a->of.watch.node < b->of.watch.node ? -1 : 1;
        }
        return strcmp(a->of.watch.quantity, b->of.watch.quantity);
    case EVENT_SPELL:
        return 0;
    case EVENT_OPEN:
    case EVENT_CLOSE:
        break;
    }
    return witness_compare(&a->of.entry->opened, &b->of.entry->opened);
}

static void swap(struct event *a, struct event *b)
{
    struct event kept = *a;
    *a = *b;
    *b = kept;
}

int queue_reserve(struct queue *queue, size_t more, struct error *error)
{
    if (queue->count + more <= queue->size) {
        return 0;
    }
    size_t size = (queue->count + more) * 2;
    struct event *events = realloc(queue->events, size * sizeof *events);
    if (!events) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for its queue");
    }
    queue->events = events;
    queue->size = size;
    return 0;
}

int queue_push(struct queue *queue, const struct event *event, struct error *error)
{
    if (queue_reserve(queue, 1, error)) {
        return -1;
    }
    size_t at = queue->count++;
    queue->events[at] = *event;
    while (at > 0 && compare(&queue->events[at], &queue->events[(at - 1) / 2]) < 0) {
        swap(&queue->events[at], &queue->events[(at - 1) / 2]);
        at = (at - 1) / 2;
    }
    return 0;
}

int64_t queue_next_ns(const struct queue *queue)
{
    return queue->count ? queue->events[0].time_ns : INT64_MAX;
}

struct event queue_pop(struct queue *queue)
{
    struct event first = queue->events[0];
    queue->events[0] = queue->events[--queue->count];
    size_t at = 0;
    for (;;) {
        size_t least = at;
        for (size_t child = 2 * at + 1; child <= 2 * at + 2 && child < queue->count; child++) {
            if (compare(&queue->events[child], &queue->events[least]) < 0) {
                least = child;
            }
        }
        if (least == at) {
            return first;
        }
        swap(&queue->events[at], &queue->events[least]);
        at = least;
    }
}

void queue_free(struct queue *queue)
{
    for (size_t i = 0; i < queue->count; i++) {
        if (queue->events[i].kind == EVENT_MARK) {
            free(queue->events[i].of.mark);
        }
    }
    free(queue->events);
    *queue = (struct queue){0};
}
