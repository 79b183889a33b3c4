/* Several nights of one building as the comparison needs them: what was found when, in which rooms,
 * named what, how rare. Must never hold samples. Used by compare_say.c and cmd_compare.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_COMPARE_BOOK_H
#define ROOMWAKE_COLLECTOR_RECORD_COMPARE_BOOK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/compare/appliance.h"
#include "collector/compare/turned.h"
#include "collector/model/coincidence.h"
#include "common/error.h"
#include "common/site.h"

struct compare_event {
    double after_s; /* since watching began */
    enum cause_kind cause;
    bool counts; /* no mark covers it and it is not the team's */
    bool alert;
    double chance_per_night;
    uint64_t rooms; /* a bit for each that took part, as the book numbers them */
    size_t step;    /* of a mains switching, in the book's list; SIZE_MAX: none was measured */
};

struct compare_night {
    char id[IDENT_SIZE * 2];
    int64_t watch_ns; /* its quiet spell was over */
    int64_t end_ns;
    double watched_s;
    double start_clock_s; /* since local midnight */
    double alert_limit_per_night;
    uint32_t sessions; /* of questions, that were begun */
    uint32_t sessions_ended;
    struct compare_event *events;
    size_t event_count;
    size_t event_size;
};

/* Opaque in spirit, plain in fact: read the fields, never write them. */
struct compare_book {
    char site[IDENT_SIZE];
    char title[SITE_TITLE_SIZE];
    size_t night_count; /* in order of time */
    struct compare_night nights[TURNED_NIGHTS_MAX];
    size_t room_count; /* of all nights, by id */
    struct site_room rooms[SITE_ROOMS_MAX];
    size_t node_count; /* the same; beyond APPLIANCE_NODES_MAX nodes tell nothing of appliances */
    struct {
        char id[IDENT_SIZE];
        size_t room;
    } nodes[APPLIANCE_NODES_MAX];
    struct appliance_step *steps;
    size_t step_count;
    size_t step_size;
    size_t appliances;
};

/* ERROR_USAGE where these are not at least two closed nights of one site, at different times. */
int compare_book_read(const char *const *paths, size_t count, struct compare_book **book,
                      struct error *error);
void compare_book_free(struct compare_book *book);

#endif
