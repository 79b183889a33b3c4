/* Nights read one after the other.
 * Must never compare what can't be compared. Called by cmd_compare.c. */
#include "collector/record/compare_book.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "collector/night/reader.h"

#define NS_PER_S INT64_C(1000000000)

struct reading {
    struct compare_book *book;
    struct compare_night *night;
    struct site *site;
    size_t rooms[SITE_ROOMS_MAX]; /* the site's rooms as the book numbers them */
    size_t *nodes;                /* the same; SIZE_MAX: not in the book */
    uint64_t watching;            /* the book's nodes that this site has */
    struct error *error;
};

static int no_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "compare: out of memory");
}

static size_t find_room(struct compare_book *book, const struct site_room *room)
{
    for (size_t i = 0; i < book->room_count; i++) {
        if (strcmp(book->rooms[i].id, room->id) == 0) {
            return i;
        }
    }
    if (book->room_count == SITE_ROOMS_MAX) {
        return SITE_ROOMS_MAX - 1; /* a site has no more: rooms were given new names all the time */
    }
    book->rooms[book->room_count] = *room;
    return book->room_count++;
}

static size_t find_node(struct compare_book *book, const struct site_node *node, size_t room)
{
    for (size_t i = 0; i < book->node_count; i++) {
        if (strcmp(book->nodes[i].id, node->id) == 0) {
            return i;
        }
    }
    if (book->node_count == APPLIANCE_NODES_MAX) {
        return SIZE_MAX;
    }
    memcpy(book->nodes[book->node_count].id, node->id, sizeof node->id);
    book->nodes[book->node_count].room = room;
    return book->node_count++;
}

static int number_site(struct reading *reading)
{
    const struct site *site = reading->site;
    reading->nodes = calloc(site->node_count + 1, sizeof *reading->nodes);
    if (!reading->nodes) {
        return no_memory(reading->error);
    }
    for (size_t i = 0; i < site->room_count; i++) {
        reading->rooms[i] = find_room(reading->book, &site->rooms[i]);
    }
    for (size_t i = 0; i < site->node_count; i++) {
        const struct site_node *node = &site->nodes[i];
        reading->nodes[i] = find_node(reading->book, node, reading->rooms[node->room]);
        if (reading->nodes[i] != SIZE_MAX) {
            reading->watching |= UINT64_C(1) << reading->nodes[i];
        }
    }
    return 0;
}

/* The mains amplitude's change at each node that measured one; SIZE_MAX where none did. */
static int take_step(struct reading *reading, const struct coincidence *coincidence, size_t *place)
{
    struct compare_book *book = reading->book;
    struct appliance_step step = {.nodes = reading->watching, .group = -1};
    bool measured = false;
    *place = SIZE_MAX;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        size_t node =
            member->node < reading->site->node_count ? reading->nodes[member->node] : SIZE_MAX;
        double change = member->mains_after - member->mains_before;
        if (node == SIZE_MAX || member->quantity != QUANTITY_MAGNETIC || !isfinite(change) ||
            fabs(change) <= fabs((double)step.at_node[node])) {
            continue;
        }
        step.at_node[node] = (float)change;
        step.calibrated &= ~(UINT64_C(1) << node);
        step.calibrated |= (uint64_t)member->calibrated << node;
        measured = true;
    }
    if (!measured) {
        return 0;
    }
    if (book->step_count == book->step_size) {
        size_t size = book->step_size ? 2 * book->step_size : 64;
        struct appliance_step *steps = realloc(book->steps, size * sizeof *steps);
        if (!steps) {
            return no_memory(reading->error);
        }
        book->steps = steps;
        book->step_size = size;
    }
    *place = book->step_count;
    book->steps[book->step_count++] = step;
    return 0;
}

static int keep_event(struct reading *reading, const struct compare_event *event)
{
    struct compare_night *night = reading->night;
    if (night->event_count == night->event_size) {
        size_t size = night->event_size ? 2 * night->event_size : 64;
        struct compare_event *events = realloc(night->events, size * sizeof *events);
        if (!events) {
            return no_memory(reading->error);
        }
        night->events = events;
        night->event_size = size;
    }
    night->events[night->event_count++] = *event;
    return 0;
}

static int take_coincidence(void *context, const struct coincidence *coincidence)
{
    struct reading *reading = context;
    const enum cause_kind cause = coincidence->verdict.cause;
    struct compare_event event = {
        .after_s = (double)(coincidence->start_ns - reading->night->watch_ns) / (double)NS_PER_S,
        .cause = cause,
        .counts = coincidence->mark_id == 0 && cause != CAUSE_TEAM,
        .alert = coincidence->alert,
        .chance_per_night = coincidence->chance.per_night,
        .step = SIZE_MAX};
    if (event.after_s < 0.0 || event.after_s > reading->night->watched_s) {
        return 0;
    }
    for (size_t i = 0; i < coincidence->order_count; i++) {
        uint32_t node = coincidence->order[i].node;
        if (node < reading->site->node_count) {
            event.rooms |= UINT64_C(1) << reading->rooms[reading->site->nodes[node].room];
        }
    }
    if (cause == CAUSE_MAINS_SWITCHING && take_step(reading, coincidence, &event.step) != 0) {
        return -1;
    }
    return keep_event(reading, &event);
}

static int count_session(void *context, const struct question_step *step)
{
    const struct reading *reading = context;
    reading->night->sessions += step->said.what == QUESTION_PLAN;
    reading->night->sessions_ended += step->said.what == QUESTION_END;
    return 0;
}

static double local_clock_s(int64_t time_ns)
{
    time_t seconds = (time_t)(time_ns / NS_PER_S);
    struct tm local;
    if (!localtime_r(&seconds, &local)) {
        return 0.0;
    }
    return 3600.0 * local.tm_hour + 60.0 * local.tm_min + local.tm_sec +
           (double)(time_ns % NS_PER_S) / (double)NS_PER_S;
}

static int take_head(struct reading *reading, const char *path, const struct night_info *info)
{
    struct compare_night *night = reading->night;
    const struct site *site = reading->site;
    if (reading->book->night_count == 0) {
        memcpy(reading->book->site, site->id, sizeof site->id);
        memcpy(reading->book->title, site->title, sizeof site->title);
    } else if (strcmp(reading->book->site, site->id) != 0) {
        return error_set(reading->error, ERROR_USAGE,
                         "%s: is of the site \"%s\", the others of \"%s\": only nights in the same"
                         " building can be compared",
                         path, site->id, reading->book->site);
    }
    if (info->end_ns == 0) {
        return error_set(reading->error, ERROR_USAGE, "%s: is not closed yet", path);
    }
    memcpy(night->id, info->id, sizeof info->id);
    night->watch_ns = info->start_ns + llround(site->baseline_s * (double)NS_PER_S);
    night->end_ns = info->end_ns;
    night->watched_s = (double)(info->end_ns - night->watch_ns) / (double)NS_PER_S;
    night->start_clock_s = local_clock_s(night->watch_ns);
    night->alert_limit_per_night = site->alert_limit_per_night;
    return night->watched_s > 0.0
               ? 0
               : error_set(reading->error, ERROR_USAGE,
                           "%s: was over before its quiet spell was: nothing was watched", path);
}

static int read_night(struct compare_book *book, const char *path, struct error *error)
{
    struct reading reading = {
        .book = book, .night = &book->nights[book->night_count], .error = error};
    struct night_reader *reader = NULL;
    struct night_info info;
    if (night_reader_open(path, &reader, error) != 0) {
        return -1;
    }
    int result = night_read_info(reader, &info, error) != 0 ||
                         night_read_site(reader, 0, &reading.site, error) != 0 ||
                         take_head(&reading, path, &info) != 0 || number_site(&reading) != 0 ||
                         night_each_question(reader, count_session, &reading, error) != 0
                     ? -1
                     : night_each_coincidence(reader, 0, take_coincidence, &reading, error);
    book->night_count++; /* also where it failed: its events are to be freed */
    free(reading.nodes);
    site_free(reading.site);
    night_reader_close(reader);
    return result;
}

static int by_time(const void *left, const void *right)
{
    const struct compare_night *a = left;
    const struct compare_night *b = right;
    return (a->watch_ns > b->watch_ns) - (a->watch_ns < b->watch_ns);
}

/* A night and its copy with a recorder are one night. */
static int check_apart(const struct compare_book *book, struct error *error)
{
    for (size_t i = 1; i < book->night_count; i++) {
        if (book->nights[i].watch_ns < book->nights[i - 1].end_ns) {
            return error_set(error, ERROR_USAGE,
                             "%s and %s are of the same time: one night must not count twice",
                             book->nights[i - 1].id, book->nights[i].id);
        }
    }
    return 0;
}

int compare_book_read(const char *const *paths, size_t count, struct compare_book **out,
                      struct error *error)
{
    if (count < 2 || count > TURNED_NIGHTS_MAX) {
        return error_set(error, ERROR_USAGE, "%zu nights: two are needed, %d are the most", count,
                         TURNED_NIGHTS_MAX);
    }
    struct compare_book *book = calloc(1, sizeof *book);
    if (!book) {
        return no_memory(error);
    }
    int result = 0;
    for (size_t i = 0; i < count && result == 0; i++) {
        result = read_night(book, paths[i], error);
    }
    if (result == 0) {
        qsort(book->nights, book->night_count, sizeof *book->nights, by_time);
        result = check_apart(book, error);
    }
    if (result != 0) {
        compare_book_free(book);
        return -1;
    }
    book->appliances = appliance_group(book->steps, book->step_count);
    *out = book;
    return 0;
}

void compare_book_free(struct compare_book *book)
{
    if (!book) {
        return;
    }
    for (size_t i = 0; i < book->night_count; i++) {
        free(book->nights[i].events);
    }
    free(book->steps);
    free(book);
}
