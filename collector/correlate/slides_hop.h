/* Which hops a traveller could have made, worked out once for each pair of nodes.
 * Must never open wider than gate and hop do. Used by slides_group.c, slides.c and accidental.c.
 */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_HOP_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_HOP_H

#include "collector/correlate/slides.h"

/* By what is at either side. */
enum slides_hop_kind {
    HOP_AIR,
    HOP_AIR_DOORS,
    HOP_BODY,
    HOP_BODY_DOORS,
    HOP_MOTION,
    HOP_WALK,
    HOP_KINDS,
    HOP_NEVER = HOP_KINDS
};

/* Instead of traits: what no traveller goes on from. */
#define SLIDES_NO_CHAIN 8

/* What slides need of an onset, its node as a place among the nodes that had any. */
struct slides_place {
    int64_t onset_ns;
    int64_t sd_ns;
    int64_t clock_sd_ns;
    uint16_t node;
    uint8_t traits;
};

struct slides_reach {
    double near_m; /* of the route, less the slack */
    double far_m;
    double route_m;
};

/* Delays that fit, before their uncertainty. */
struct slides_delays {
    int64_t least_ns;
    int64_t most_ns;
};

struct slides_limits {
    double slowest_m_s;
    double fastest_m_s;
    double slack_m;
};

/* Caller-owned; slides_hops_free. */
struct slides_hops {
    size_t nodes;
    uint8_t kinds[9][8];          /* by the traits at either side; from SLIDES_NO_CHAIN never */
    struct slides_reach *reaches; /* by kind, from, to */
    struct slides_delays *delays; /* the same, and for HOP_NEVER none */
    double *farthest_m;
};

extern const struct slides_limits slides_limits[HOP_KINDS];

/* Of traits at either side. */
enum slides_hop_kind slides_hop_kind_of(unsigned from, unsigned to);
/* Of nodes of the site. */
struct slides_reach slides_hop_reach(struct layout *layout, enum slides_hop_kind kind, size_t from,
                                     size_t to);

/* `nodes` are indices in the site. */
int slides_hops_init(struct slides_hops *hops, struct layout *layout, const uint32_t *nodes,
                     size_t count, struct error *error);
void slides_hops_free(struct slides_hops *hops);

static inline size_t slides_pair(const struct slides_hops *hops, unsigned kind, size_t from,
                                 size_t to)
{
    return (kind * hops->nodes + from) * hops->nodes + to;
}

#endif
