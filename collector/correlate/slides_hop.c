/* The tables behind slides_hop.h, from the same numbers as gate.h and hop.c.
 * Must never do I/O. Used by slides_group.c and slides.c. */
#include "collector/correlate/slides_hop.h"

#include <math.h>
#include <stdlib.h>

#include "collector/correlate/gate.h"
#include "collector/correlate/limits.h"

const struct slides_limits slides_limits[HOP_KINDS] = {
    [HOP_AIR] = {GATE_AIR_SLOWEST_M_S, GATE_AIR_FASTEST_M_S, 0.0},
    [HOP_AIR_DOORS] = {GATE_AIR_SLOWEST_M_S, GATE_AIR_FASTEST_M_S, 0.0},
    [HOP_BODY] = {GATE_BODY_SLOWEST_M_S, GATE_FASTEST_M_S, 0.0},
    [HOP_BODY_DOORS] = {GATE_BODY_SLOWEST_M_S, GATE_FASTEST_M_S, 0.0},
    [HOP_MOTION] = {GATE_BODY_SLOWEST_M_S, GATE_FASTEST_M_S, GATE_SENSING_M},
    [HOP_WALK] = {GATE_WALK_SLOWEST_M_S, GATE_WALK_FASTEST_M_S, GATE_SENSING_M},
};

enum slides_hop_kind slides_hop_kind_of(unsigned from, unsigned to)
{
    unsigned either = from | to;
    if (either & SLIDES_MOTION) {
        bool both = from & to & SLIDES_MOTION;
        return either & SLIDES_SLOW ? HOP_NEVER : (both ? HOP_MOTION : HOP_WALK);
    }
    bool doors = either & SLIDES_MAGNETIC;
    if (either & SLIDES_SLOW) {
        return doors ? HOP_AIR_DOORS : HOP_AIR;
    }
    return doors ? HOP_BODY_DOORS : HOP_BODY;
}

struct slides_reach slides_hop_reach(struct layout *layout, enum slides_hop_kind kind, size_t from,
                                     size_t to)
{
    const struct slides_limits *limits = &slides_limits[kind];
    bool doors = kind != HOP_AIR && kind != HOP_BODY;
    struct slides_reach reach;
    reach.route_m = doors ? layout_route_m(layout, from, to) : layout_straight_m(layout, from, to);
    reach.near_m = fmax(0.0, reach.route_m - limits->slack_m);
    reach.far_m = reach.route_m + limits->slack_m;
    return reach;
}

static struct slides_delays delays_of(const struct slides_reach *reach, enum slides_hop_kind kind)
{
    const struct slides_limits *limits = &slides_limits[kind];
    return (struct slides_delays){(int64_t)(reach->near_m / limits->fastest_m_s * 1e9),
                                  (int64_t)(reach->far_m / limits->slowest_m_s * 1e9) + 1};
}

int slides_hops_init(struct slides_hops *hops, struct layout *layout, const uint32_t *nodes,
                     size_t count, struct error *error)
{
    size_t size = count ? count : 1;
    hops->nodes = count;
    hops->reaches = malloc(HOP_KINDS * size * size * sizeof *hops->reaches);
    hops->delays = malloc((HOP_KINDS + 1) * size * size * sizeof *hops->delays);
    hops->farthest_m = malloc(size * sizeof *hops->farthest_m);
    if (!hops->reaches || !hops->delays || !hops->farthest_m) {
        slides_hops_free(hops);
        return error_set(error, ERROR_MEMORY, "slides: out of memory");
    }
    for (unsigned from = 0; from < 8; from++) {
        for (unsigned to = 0; to < 8; to++) {
            hops->kinds[from][to] = (uint8_t)slides_hop_kind_of(from, to);
        }
    }
    for (unsigned to = 0; to < 8; to++) {
        hops->kinds[SLIDES_NO_CHAIN][to] = HOP_NEVER;
    }
    size_t pair = 0;
    for (int kind = 0; kind < HOP_KINDS; kind++) {
        for (size_t from = 0; from < count; from++) {
            for (size_t to = 0; to < count; to++) {
                hops->reaches[pair] =
                    slides_hop_reach(layout, (enum slides_hop_kind)kind, nodes[from], nodes[to]);
                hops->delays[pair] = delays_of(&hops->reaches[pair], (enum slides_hop_kind)kind);
                pair++;
            }
        }
    }
    for (size_t i = 0; i < count * count; i++) {
        hops->delays[pair + i] = (struct slides_delays){INT64_MAX, INT64_MIN};
    }
    for (size_t node = 0; node < count; node++) {
        hops->farthest_m[node] = layout_farthest_m(layout, nodes[node]);
    }
    return 0;
}

void slides_hops_free(struct slides_hops *hops)
{
    free(hops->reaches);
    free(hops->delays);
    free(hops->farthest_m);
    hops->reaches = NULL;
    hops->delays = NULL;
    hops->farthest_m = NULL;
}
