/* Distances, delays and speeds between a chain's last element and a new cluster.
 * Must never keep state. Called by chain. */
#include "collector/correlate/hop.h"

#include <math.h>

#include "collector/correlate/limits.h"
#include "collector/model/coincidence.h"
#include "collector/correlate/gate.h"

static bool has_magnetic(const struct cluster *cluster)
{
    for (size_t i = 0; i < cluster->count; i++) {
        if (cluster->members[i]->opened.quantity == QUANTITY_MAGNETIC) {
            return true;
        }
    }
    return false;
}

static bool motion_at_either(const struct cluster *from, const struct cluster *to)
{
    return cluster_has_motion(from) || cluster_has_motion(to);
}

/* What moves a magnet or a motion sensor goes through doors; sound and air need not. */
static bool goes_through_doors(const struct cluster *from, const struct cluster *to)
{
    return motion_at_either(from, to) || has_magnetic(from) || has_magnetic(to);
}

static double route_m(struct layout *layout, const struct cluster *from, const struct cluster *to)
{
    uint32_t a = cluster_anchor(from)->node;
    uint32_t b = cluster_anchor(to)->node;
    return goes_through_doors(from, to) ? layout_route_m(layout, a, b)
                                        : layout_straight_m(layout, a, b);
}

bool hop_limits(const struct cluster *from, const struct cluster *to, double *slowest_m_s,
                double *fastest_m_s)
{
    bool slow = cluster_is_slow(from) || cluster_is_slow(to);
    *slowest_m_s = slow ? GATE_AIR_SLOWEST_M_S : GATE_BODY_SLOWEST_M_S;
    *fastest_m_s = slow ? GATE_AIR_FASTEST_M_S : GATE_FASTEST_M_S;
    if (cluster_has_motion(from) != cluster_has_motion(to)) {
        /* Only a walker joins what a motion sensor saw with what another sensor felt. */
        *slowest_m_s = GATE_WALK_SLOWEST_M_S;
        *fastest_m_s = GATE_WALK_FASTEST_M_S;
    }
    return !(slow && motion_at_either(from, to));
}

static bool hop_speed(struct layout *layout, const struct cluster *from, const struct cluster *to,
                      struct gate_speed *speed)
{
    const struct disturbance *a = cluster_anchor(from);
    const struct disturbance *b = cluster_anchor(to);
    struct gate_hop hop = {
        .straight_m = layout_straight_m(layout, a->node, b->node),
        .walk_m = goes_through_doors(from, to) ? layout_walk_m(layout, a->node, b->node) : -1.0,
        .slack_m = motion_at_either(from, to) ? GATE_SENSING_M : 0.0,
        .delay_s = (double)(b->onset_ns - a->onset_ns) * 1e-9,
        .delay_sd_s =
            hypot((double)disturbance_onset_sd_ns(a), (double)disturbance_onset_sd_ns(b)) * 1e-9,
    };
    return hop_limits(from, to, &hop.slowest_m_s, &hop.fastest_m_s) && gate_hop_fits(&hop, speed);
}

/* All of the chain's way over all of its time; 0 where it has none yet. */
static double chain_speed(struct layout *layout, const struct group *group)
{
    double way_m = 0.0;
    for (size_t i = 1; i < group->count; i++) {
        way_m += route_m(layout, group->elements[i - 1], group->elements[i]);
    }
    int64_t time_ns = cluster_anchor(group->elements[group->count - 1])->onset_ns -
                      cluster_anchor(group->elements[0])->onset_ns;
    return time_ns > 0 ? way_m / ((double)time_ns * 1e-9) : 0.0;
}

static double log_ratio(double a, double b)
{
    return fabs(log(fmax(a, 1e-3) / fmax(b, 1e-3)));
}

static double usual_pace(const struct cluster *from, const struct cluster *to)
{
    return cluster_is_slow(from) || cluster_is_slow(to) ? HOP_PACE_AIR_M_S : HOP_PACE_BODY_M_S;
}

double hop_disagreement(struct layout *layout, const struct cluster *from, const struct cluster *to)
{
    int64_t delay_ns = cluster_anchor(to)->onset_ns - cluster_anchor(from)->onset_ns;
    double speed_m_s =
        delay_ns > 0 ? route_m(layout, from, to) / ((double)delay_ns * 1e-9) : INFINITY;
    return -expm1(-log_ratio(speed_m_s, usual_pace(from, to)));
}

bool hop_possible(struct layout *layout, const struct group *group, const struct cluster *cluster,
                  struct hop_merit *merit)
{
    const struct cluster *last = group->elements[group->count - 1];
    uint32_t node = cluster_anchor(cluster)->node;
    if (group->core || cluster_has_node(last, node) ||
        group_member_count(group) + cluster->count > COINCIDENCE_MEMBERS_MAX) {
        return false;
    }
    if (group->count > 1 && cluster_anchor(group->elements[group->count - 2])->node == node) {
        return false;
    }
    struct gate_speed speed;
    if (!hop_speed(layout, last, cluster, &speed)) {
        return false;
    }
    double pace = usual_pace(last, cluster);
    if (group->count > 1) {
        pace = chain_speed(layout, group);
        if (!gate_speeds_agree(&speed, pace)) {
            return false;
        }
    }
    merit->unlike = cluster_has_motion(last) != cluster_has_motion(cluster);
    merit->first = group->count == 1;
    merit->disagreement = log_ratio(speed.value_m_s, pace);
    merit->age_ns = cluster_anchor(cluster)->onset_ns - cluster_anchor(last)->onset_ns;
    return true;
}

bool hop_better(const struct hop_merit *a, const struct hop_merit *b)
{
    if (a->unlike != b->unlike) {
        return b->unlike;
    }
    if (a->first != b->first) {
        return b->first;
    }
    if (a->disagreement < b->disagreement || a->disagreement > b->disagreement) {
        return a->disagreement < b->disagreement;
    }
    return a->age_ns < b->age_ns;
}

int64_t hop_join_until_ns(struct layout *layout, const struct cluster *last)
{
    const struct disturbance *anchor = cluster_anchor(last);
    bool air = !cluster_has_motion(last);
    double reach_m = layout_farthest_m(layout, anchor->node) + GATE_SENSING_M;
    double sd_s = (double)disturbance_onset_sd_ns(anchor) * 1e-9;
    double wait_s = reach_m / (air ? GATE_AIR_SLOWEST_M_S : GATE_BODY_SLOWEST_M_S) + 4.0 * sd_s;
    double longest_s = (double)GROUP_LONGEST_NS * 1e-9;
    /* A cluster is placed when its window is over: up to one widest gate later. */
    return anchor->onset_ns + (int64_t)llround(fmin(wait_s, longest_s) * 1e9) + GATE_WIDEST_NS;
}
