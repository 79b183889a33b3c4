/* Whether a cluster can be the next hop of a chain, and how well it agrees.
 * Must never change the chain. Called by chain; slides use its paces and order. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_HOP_H
#define ROOMWAKE_COLLECTOR_CORRELATE_HOP_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/correlate/group.h"
#include "collector/correlate/layout.h"

/* Paces by which the first hop of a chain is judged where several chains could take a cluster:
 * comfortable walking (Bohannon 1997, Age and Ageing 26:15) and indoor air. */
#define HOP_PACE_BODY_M_S 1.3
#define HOP_PACE_AIR_M_S 0.2

/* How well a cluster continues a chain; lower is better, compared in order of the fields. */
struct hop_merit {
    bool unlike;         /* one side has motion, the other none */
    bool first;          /* the chain has no speed yet */
    double disagreement; /* |ln| of speed over the chain's, or over a usual pace */
    int64_t age_ns;      /* since the chain's last element */
};

bool hop_possible(struct layout *layout, const struct group *group, const struct cluster *cluster,
                  struct hop_merit *merit);
/* How far the hop's speed is from the usual pace: 1 - lesser / greater of both. */
double hop_disagreement(struct layout *layout, const struct cluster *from,
                        const struct cluster *to);
bool hop_better(const struct hop_merit *a, const struct hop_merit *b);

/* The range of speeds for a hop between the two; false where they can't be one traveller. */
bool hop_limits(const struct cluster *from, const struct cluster *to, double *slowest_m_s,
                double *fastest_m_s);
/* Data time until which something may still continue this chain. */
int64_t hop_join_until_ns(struct layout *layout, const struct cluster *last);

#endif
