/* Whether a chain may take a cluster, and how well: hop_possible of hop.c, in the open so that it
 * costs a few nanoseconds for the many that don't fit. Must never divide for those. Used by
 * slides_group.c. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_MERIT_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_MERIT_H

#include <math.h>

#include "collector/correlate/gate.h"
#include "collector/correlate/hop.h"
#include "collector/correlate/slides_element.h"

struct slides_merit {
    const struct slides_reach *reach;
    double delay_s;
    double two_sd_s;
    double pace_m_s;
    double more; /* speed and pace, the greater over the less */
    double less;
    int64_t age_ns;
    bool unlike;
    bool first;
};

/* Whether the delay may fit: never false where it does. Without a branch, for a loop over many. */
static inline bool slides_delay_may_fit(const struct slides_hops *hops,
                                        const struct slides_anchor *from,
                                        const struct slides_anchor *to)
{
    int64_t delay_ns = to->time_ns - from->time_ns;
    int64_t two_sd_ns = 2 * (from->sd_ns + to->sd_ns); /* at most so much */
    unsigned kind = hops->kinds[from->traits][to->traits];
    const struct slides_delays *delays =
        &hops->delays[slides_pair(hops, kind, from->node, to->node)];
    return (delay_ns > 0) & (delay_ns + two_sd_ns >= delays->least_ns) &
           (delay_ns - two_sd_ns <= delays->most_ns);
}

/* For a delay that may fit: fills all but `first`; the pace is a usual one. */
static inline bool slides_hop_fits(const struct slides_hops *hops, const struct slides_anchor *from,
                                   const struct slides_anchor *to, struct slides_merit *merit)
{
    size_t pair = slides_pair(hops, hops->kinds[from->traits][to->traits], from->node, to->node);
    const struct slides_delays *delays = &hops->delays[pair];
    double delay = (double)(to->time_ns - from->time_ns);
    double from_sd = (double)from->sd_ns;
    double to_sd = (double)to->sd_ns;
    double two_sd = 2.0 * sqrt(from_sd * from_sd + to_sd * to_sd);
    merit->reach = &hops->reaches[pair];
    merit->delay_s = delay * 1e-9;
    merit->two_sd_s = two_sd * 1e-9;
    merit->pace_m_s =
        (from->traits | to->traits) & SLIDES_SLOW ? HOP_PACE_AIR_M_S : HOP_PACE_BODY_M_S;
    merit->unlike = ((from->traits ^ to->traits) & SLIDES_MOTION) != 0;
    merit->age_ns = to->time_ns - from->time_ns;
    return delay + two_sd >= (double)delays->least_ns && delay - two_sd <= (double)delays->most_ns;
}

/* gate_speeds_agree of the hop's range of speeds. */
static inline bool slides_speeds_agree(const struct slides_merit *merit)
{
    double longest_s = merit->delay_s + merit->two_sd_s;
    double shortest_s = merit->delay_s - merit->two_sd_s;
    return merit->reach->near_m <= merit->pace_m_s * GATE_SPEED_FACTOR * longest_s &&
           merit->reach->far_m * GATE_SPEED_FACTOR >= merit->pace_m_s * shortest_s;
}

/* hop_merit's disagreement as a fraction of at least 1: its logarithm is the same. */
static inline void slides_set_disagreement(struct slides_merit *merit)
{
    double pace_m_s = merit->pace_m_s > 1e-3 ? merit->pace_m_s : 1e-3;
    double speed = merit->reach->route_m > 1e-3 * merit->delay_s ? merit->reach->route_m
                                                                 : 1e-3 * merit->delay_s;
    double pace = pace_m_s * merit->delay_s;
    merit->more = speed > pace ? speed : pace;
    merit->less = speed > pace ? pace : speed;
}

/* hop_better. */
static inline bool slides_better(const struct slides_merit *a, const struct slides_merit *b)
{
    if (a->unlike != b->unlike) {
        return b->unlike;
    }
    if (a->first != b->first) {
        return b->first;
    }
    double left = a->more * b->less;
    double right = b->more * a->less;
    if (left < right || left > right) {
        return left < right;
    }
    return a->age_ns < b->age_ns;
}

#endif
