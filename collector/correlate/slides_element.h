/* One cluster of onsets within a slide, and what is asked of it: cluster.h without the memory.
 * Must never outlive the slide whose times it refers to. Used by slides_group.c. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_ELEMENT_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_ELEMENT_H

#include "collector/correlate/slides_group.h"

/* The same as CHAIN_ECHO_NS, CHAIN_ECHO_MOTION_NS and GROUP_LONGEST_NS. */
#define SLIDES_ECHO_NS INT64_C(1000000000)
#define SLIDES_ECHO_MOTION_NS INT64_C(3000000000)
#define SLIDES_LONGEST_NS INT64_C(120000000000)

/* What is known of every onset in the present slide. */
struct slides_members {
    const struct slides_place *places;
    int64_t *times_ns;
    uint32_t *next;   /* members of one element are a list */
    uint64_t *stamps; /* by node: when it was last counted */
    uint64_t stamp;
};

/* Where and when an element stands for a traveller: its first motion, else its first onset. */
struct slides_anchor {
    int64_t time_ns;
    int64_t sd_ns;
    uint32_t index;
    uint16_t node;
    uint8_t traits; /* of the whole element */
};

struct slides_element {
    struct slides_anchor anchor;
    uint32_t head; /* the first that joined */
    uint32_t tail;
    uint32_t count;
    uint32_t previous; /* the element before it in its chain */
    int64_t last_ns;
    int64_t gate_ns;
};

struct slides_census {
    size_t nodes;
    uint32_t first;
    int64_t first_ns;
    int64_t span_ns; /* between the nodes' first onsets */
};

void slides_alone(struct slides_members *members, const struct slides_item *item,
                  struct slides_element *element);
/* Takes `from` into `into`. */
void slides_join(struct slides_members *members, struct slides_element *into,
                 const struct slides_element *from);
void slides_split_motion(struct slides_members *members, const struct slides_element *element,
                         struct slides_element *still, struct slides_element *motion);
bool slides_has_node(const struct slides_members *members, const struct slides_element *element,
                     uint16_t node);
/* Distinct nodes that are not motion alone. */
size_t slides_still_nodes(struct slides_members *members, const struct slides_element *element);
/* INT64_MAX where `cluster` is no echo of what `home` holds. */
int64_t slides_echo_gap_ns(const struct slides_members *members, bool core,
                           const struct slides_element *home, const struct slides_element *cluster);

void slides_census_begin(struct slides_members *members, struct slides_census *census);
void slides_census_add(struct slides_members *members, const struct slides_element *element,
                       struct slides_census *census);

double slides_route_m(const struct slides_hops *hops, unsigned kind,
                      const struct slides_anchor *from, const struct slides_anchor *to);
int64_t slides_join_until_ns(const struct slides_hops *hops, const struct slides_anchor *last);

#endif
