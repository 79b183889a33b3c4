/* What slides_group.c and slides_window.c share: all arrays that one slide needs, used again for
 * the next. Must never be included elsewhere. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_INSIDE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_INSIDE_H

#include "collector/correlate/slides_element.h"

#define WINDOWS_MAX 64
struct grouping_window {
    struct slides_element element;
    int64_t clock_sd_ns; /* of the first */
    int64_t opened_ns;
    int64_t seal_ns;
};

struct grouping_group {
    struct slides_anchor anchor; /* of the last element */
    uint32_t last;               /* element */
    uint32_t count;
    uint32_t members;
    unsigned hops;
    bool core;
    int64_t last_onset_ns;
    int64_t join_until_ns;
    int64_t begun_ns; /* its first anchor's time */
    double way_m;
    double speed_m_s; /* of all its way; of use from the second element on */
    double disagreement;
};

struct slides_grouping {
    const struct slides_hops *hops;
    int64_t *gates_ns; /* by onset: with a perfect clock, and with the worst */
    struct slides_members members;
    struct slides_element *elements;
    size_t element_count;
    struct grouping_group *groups; /* those that may still grow, in order of their beginning */
    size_t group_count;
    uint32_t *candidates; /* of them */
    int64_t retire_ns;    /* none of them ends before this */
    size_t window_count;
    int64_t seal_ns; /* no window is over before this */
    struct grouping_window windows[WINDOWS_MAX];
    void (*found)(void *context, const struct slides_found *found);
    void *context;
};

/* chain_place of chain.c: the window is over at now_ns. */
void slides_place(struct slides_grouping *grouping, struct slides_element *cluster, int64_t now_ns);
/* Lets go of what nothing can join at now_ns, and tells it if it is a coincidence. */
void slides_retire(struct slides_grouping *grouping, int64_t now_ns);

#endif
