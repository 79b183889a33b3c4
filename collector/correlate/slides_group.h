/* The correlator's windows, echoes and chains without the judging: onsets in order of time in,
 * what belongs together out, fast enough to be done for thousands of shifted nights.
 * Must never group otherwise than correlator and chain do: a test holds them together.
 * Used by slides.c and slides_shift.c. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_GROUP_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_GROUP_H

#include "collector/correlate/slides_hop.h"

/* An onset in a slide: when, and which. */
struct slides_item {
    int64_t time_ns;
    uint32_t index;
};

struct slides_found {
    enum coincidence_kind kind;
    size_t nodes;
    unsigned hops;    /* bit by kind of hop */
    double looseness; /* 0: as tight as can be, to 1 */
    uint32_t first;   /* index of its earliest onset */
};

struct slides_grouping;

/* `hops` and `places` (count of them) must outlive it. */
int slides_grouping_new(const struct slides_hops *hops, const struct slides_place *places,
                        size_t count, struct slides_grouping **grouping, struct error *error);
void slides_grouping_free(struct slides_grouping *grouping);
/* found() for each group of two nodes or more. */
void slides_grouping_run(struct slides_grouping *grouping, const struct slides_item *items,
                         size_t count,
                         void (*found)(void *context, const struct slides_found *found),
                         void *context);

#endif
