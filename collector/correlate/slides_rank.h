/* How rare a group is among all that a night could bring by accident: by its class (kind, number of
 * nodes, kinds of hops), the rarer by the formulas the higher, within a class the tighter the
 * higher. Must never look at which nodes: "like it" means as many of any. Used by slides.c. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_RANK_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_RANK_H

#include "collector/correlate/slides_group.h"

#define RANK_NODES_MAX 16 /* more count as so many */
#define RANK_CLASSES ((size_t)(1u + (1u << HOP_KINDS)) * (RANK_NODES_MAX + 1u))
#define RANK_STEPS 32u /* of tightness within a class */

struct slides_rank {
    unsigned class;
    unsigned step;
};

/* Caller-owned; slides_ranks_free. */
struct slides_ranks {
    struct layout *layout;
    double *node_rates_hz; /* one a node of the site */
    size_t node_count;
    double gate_s; /* of a prompt coincidence */
    double sd_s[HOP_KINDS];
    double rates_hz[RANK_CLASSES]; /* NaN: not worked out yet */
};

int slides_ranks_init(struct slides_ranks *ranks, const struct slides_night *night,
                      const struct slides_place *places, struct error *error);
void slides_ranks_free(struct slides_ranks *ranks);

/* Works out the class's rate where it is the first of its class. */
int slides_rank_of(struct slides_ranks *ranks, const struct slides_found *found,
                   struct slides_rank *rank, struct error *error);
/* Whether a ranks above b: it is rarer. */
bool slides_rank_above(const struct slides_ranks *ranks, const struct slides_rank *a,
                       const struct slides_rank *b);

#endif
