/* The order of steps in data time: what was told, windows that are over, judgements that are due.
 * Must never let the order of calls show in what comes out. Called by pipeline. */
#include "collector/correlate/correlator_inside.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/judge.h"
#include "collector/correlate/witness.h"

int correlator_new(const struct site *site, const struct correlator_sink *sink,
                   struct correlator **correlator, struct error *error)
{
    struct correlator *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory");
    }
    made->site = site;
    made->sink = *sink;
    made->told = calloc(1, sizeof *made->told);
    if (!made->told) {
        correlator_free(made);
        return error_set(error, ERROR_MEMORY, "correlator: out of memory");
    }
    if (layout_new(site, &made->layout, error) || away_new(site, &made->away, error) ||
        rates_new(site, made->away, &made->rates, error) ||
        slides_book_new(site->node_count, &made->slides, error)) {
        correlator_free(made);
        return -1;
    }
    made->book.layout = made->layout;
    *correlator = made;
    return 0;
}

void correlator_free(struct correlator *correlator)
{
    if (!correlator) {
        return;
    }
    for (size_t i = 0; i < correlator->open_count; i++) {
        cluster_free(correlator->open[i]);
    }
    free(correlator->open);
    chain_book_free(&correlator->book);
    queue_free(&correlator->queue);
    while (correlator->entries) {
        struct entry *next = correlator->entries->next;
        free(correlator->entries);
        correlator->entries = next;
    }
    mark_book_free(&correlator->marks);
    kept_free(&correlator->kept);
    rates_free(correlator->rates);
    away_free(correlator->away);
    slides_book_free(correlator->slides);
    layout_free(correlator->layout);
    free(correlator->told);
    free(correlator);
}

static void entry_link(struct correlator *correlator, struct entry *entry)
{
    entry->next = correlator->entries;
    if (entry->next) {
        entry->next->previous = entry;
    }
    correlator->entries = entry;
}

static void entry_drop(struct correlator *correlator, struct entry *entry)
{
    if (entry->previous) {
        entry->previous->next = entry->next;
    } else {
        correlator->entries = entry->next;
    }
    if (entry->next) {
        entry->next->previous = entry->previous;
    }
    free(entry);
}

static void sweep(struct correlator *correlator)
{
    for (struct entry *entry = correlator->entries; entry;) {
        struct entry *next = entry->next;
        if (entry->ended && entry->holders == 0) {
            entry_drop(correlator, entry);
        }
        entry = next;
    }
}

/* The place was kept free when the entry was opened. */
static void schedule_close(struct correlator *correlator, struct entry *entry)
{
    struct event event = {.time_ns = entry->closed.closed_ns, .kind = EVENT_CLOSE};
    if (event.time_ns < entry->opened.onset_ns) {
        event.time_ns = entry->opened.onset_ns;
    }
    event.of.entry = entry;
    entry->close_told = true;
    correlator->closes_to_come--;
    (void)queue_push(&correlator->queue, &event, NULL);
}

int correlator_open(struct correlator *correlator, const struct disturbance *disturbance,
                    struct error *error)
{
    if (disturbance->node >= correlator->site->node_count) {
        return error_set(error, ERROR_RANGE, "correlator: node %u is not of this site",
                         (unsigned)disturbance->node);
    }
    struct entry *entry = calloc(1, sizeof *entry);
    if (!entry) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory");
    }
    if (queue_reserve(&correlator->queue, correlator->closes_to_come + 2, error)) {
        free(entry);
        return -1;
    }
    entry->opened = *disturbance;
    entry->closed = *disturbance;
    struct event event = {.time_ns = disturbance->onset_ns, .kind = EVENT_OPEN};
    event.of.entry = entry;
    (void)queue_push(&correlator->queue, &event, NULL);
    entry_link(correlator, entry);
    correlator->closes_to_come++;
    if (disturbance->closed_ns) {
        /* Told as if it lasted: its end is known only from closed_ns on. */
        entry->opened.end_ns = 0;
        entry->opened.closed_ns = 0;
        schedule_close(correlator, entry);
    }
    return 0;
}

void correlator_close(struct correlator *correlator, const struct disturbance *disturbance)
{
    for (struct entry *entry = correlator->entries; entry; entry = entry->next) {
        if (!entry->ended && witness_same(&entry->opened, disturbance)) {
            int64_t id = entry->closed.id;
            entry->closed = *disturbance;
            entry->closed.id = id;
            if (!entry->close_told) {
                schedule_close(correlator, entry);
            }
            return;
        }
    }
}

int correlator_watch(struct correlator *correlator, uint32_t node, const char *quantity,
                     int64_t from_ns, struct error *error)
{
    if (node >= correlator->site->node_count) {
        return error_set(error, ERROR_RANGE, "correlator: node %u is not of this site",
                         (unsigned)node);
    }
    struct event event = {.time_ns = from_ns, .kind = EVENT_WATCH};
    event.of.watch.node = node;
    (void)snprintf(event.of.watch.quantity, sizeof event.of.watch.quantity, "%s", quantity);
    if (queue_reserve(&correlator->queue, correlator->closes_to_come + 1, error)) {
        return -1;
    }
    return queue_push(&correlator->queue, &event, error);
}

static int open_window(struct correlator *correlator, struct entry *entry, struct error *error)
{
    if (correlator->open_count == correlator->open_size) {
        size_t size = correlator->open_size ? correlator->open_size * 2 : 8;
        struct cluster **open = realloc(correlator->open, size * sizeof(struct cluster *));
        if (!open) {
            return error_set(error, ERROR_MEMORY, "correlator: out of memory for a window");
        }
        correlator->open = open;
        correlator->open_size = size;
    }
    struct cluster *cluster = cluster_new(entry, correlator->clock_sd_max_ns);
    if (!cluster) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a window");
    }
    correlator->open[correlator->open_count++] = cluster;
    return 0;
}

static int take_onset(struct correlator *correlator, struct entry *entry, struct error *error)
{
    entry->opened.id = ++correlator->last_disturbance_id;
    entry->closed.id = entry->opened.id;
    if (entry->opened.clock_sd_ns > correlator->clock_sd_max_ns) {
        correlator->clock_sd_max_ns = entry->opened.clock_sd_ns;
    }
    if (rates_count(correlator->rates, &entry->opened, error) ||
        slides_book_onset(correlator->slides, &entry->opened, error)) {
        return -1;
    }
    correlator->sink.disturbance(correlator->sink.context, &entry->opened);
    for (size_t i = 0; i < correlator->open_count; i++) {
        if (cluster_takes(correlator->open[i], &entry->opened)) {
            return cluster_add(correlator->open[i], entry, error);
        }
    }
    return open_window(correlator, entry, error);
}

static void take_end(struct correlator *correlator, struct entry *entry, int64_t now_ns)
{
    entry->ended = true;
    rates_ended(correlator->rates, &entry->closed);
    correlator->sink.disturbance_ended(correlator->sink.context, &entry->closed);
    for (size_t i = 0; i < correlator->book.count; i++) {
        group_member_ended(correlator->book.groups[i], entry, now_ns);
    }
    if (entry->holders == 0) {
        entry_drop(correlator, entry);
    }
}

static int take_event(struct correlator *correlator, struct error *error)
{
    struct event event = queue_pop(&correlator->queue);
    switch (event.kind) {
    case EVENT_MARK:
        return correlator_take_mark(correlator, event.of.mark, error);
    case EVENT_SPELL:
        return correlator_take_spell(correlator, event.time_ns, error);
    case EVENT_WATCH:
        away_close_spell(correlator->away, event.of.watch.node, event.time_ns);
        if (away_set_marks(correlator->away, &correlator->marks, error)) {
            return -1;
        }
        slides_book_watch(correlator->slides, event.of.watch.node, event.time_ns);
        return rates_watch(correlator->rates, event.of.watch.node, event.of.watch.quantity,
                           event.time_ns, error);
    case EVENT_OPEN:
        return take_onset(correlator, event.of.entry, error);
    case EVENT_CLOSE:
        take_end(correlator, event.of.entry, event.time_ns);
        break;
    }
    return 0;
}

static int seal_window(struct correlator *correlator, size_t index, struct error *error)
{
    struct cluster *cluster = correlator->open[index];
    correlator->open_count--;
    memmove(&correlator->open[index], &correlator->open[index + 1],
            (correlator->open_count - index) * sizeof(struct cluster *));
    return chain_place(&correlator->book, cluster, cluster->seal_ns, error);
}

static int tell_group(struct correlator *correlator, size_t index, int64_t now_ns,
                      struct error *error)
{
    struct group *group = correlator->book.groups[index];
    bool final = group_final_ns(group) <= now_ns;
    group->tell_ns = INT64_MAX;
    if (group->coincidence) {
        struct judge judge = {correlator->site, correlator->layout, correlator->rates,
                              correlator_marks_of(correlator), correlator->marks.count};
        if (!group->id) {
            group->id = ++correlator->last_coincidence_id;
        }
        if (judge_group(&judge, group, now_ns, correlator->told, error) ||
            (final && slides_book_coincidence(correlator->slides, correlator->told, error))) {
            return -1;
        }
        correlator->told->final = final;
        int64_t look_ns = correlator_look_ns(correlator->told, now_ns);
        if (final && kept_add(&correlator->kept, correlator->told, look_ns, error)) {
            return -1;
        }
        correlator_count_members(correlator, correlator->told);
        correlator->sink.coincidence(correlator->sink.context, correlator->told);
    }
    if (final) {
        chain_book_drop(&correlator->book, index);
        sweep(correlator);
    }
    return 0;
}

/* The window that is over first, and when. */
static int64_t next_seal(const struct correlator *correlator, size_t *index)
{
    int64_t next_ns = INT64_MAX;
    for (size_t i = 0; i < correlator->open_count; i++) {
        if (correlator->open[i]->seal_ns < next_ns) {
            next_ns = correlator->open[i]->seal_ns;
            *index = i;
        }
    }
    return next_ns;
}

static int64_t next_due(const struct correlator *correlator, size_t *index)
{
    int64_t next_ns = INT64_MAX;
    for (size_t i = 0; i < correlator->book.count; i++) {
        int64_t due_ns = group_due_ns(correlator->book.groups[i]);
        if (due_ns < next_ns) {
            next_ns = due_ns;
            *index = i;
        }
    }
    return next_ns;
}

int correlator_advance(struct correlator *correlator, int64_t horizon_ns, struct error *error)
{
    for (;;) {
        size_t window = 0;
        size_t group = 0;
        int64_t event_ns = queue_next_ns(&correlator->queue);
        int64_t seal_ns = next_seal(correlator, &window);
        int64_t due_ns = next_due(correlator, &group);
        int64_t look_ns = kept_next_look_ns(&correlator->kept);
        int status = 0;
        if (look_ns < horizon_ns && look_ns < event_ns && look_ns < seal_ns && look_ns < due_ns) {
            status = correlator_look_again(correlator, error);
        } else if (event_ns < horizon_ns && event_ns <= seal_ns && event_ns <= due_ns) {
            status = take_event(correlator, error);
        } else if (seal_ns < horizon_ns && seal_ns <= due_ns) {
            status = seal_window(correlator, window, error);
        } else if (due_ns < horizon_ns) {
            status = tell_group(correlator, group, due_ns, error);
        } else {
            return 0;
        }
        if (status) {
            return -1;
        }
    }
}

int correlator_finish(struct correlator *correlator, struct error *error)
{
    return correlator_advance(correlator, INT64_MAX, error);
}

int correlator_slide(struct correlator *correlator, int64_t end_ns, struct error *error)
{
    struct slides_sink sink = {correlator->sink.context, correlator->sink.chance,
                               correlator->sink.unsteady};
    for (size_t i = 0; i < correlator->kept.count; i++) {
        const struct coincidence *told = correlator->told;
        kept_get(&correlator->kept, i, correlator->told);
        for (size_t j = 0; told->mark_id != 0 && j < told->member_count; j++) {
            slides_book_leave_out(correlator->slides, told->members[j].id);
        }
    }
    return slides_book_close(correlator->slides, correlator->layout, correlator->away, end_ns,
                             &sink, error);
}
