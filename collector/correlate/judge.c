/* The steps of judging, in order: members, witnesses, order, path, chance, cause.
 * Must never keep state. Called by correlator. */
#include "collector/correlate/judge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/cause.h"
#include "collector/correlate/chance.h"
#include "collector/correlate/gate.h"
#include "collector/correlate/hop.h"
#include "collector/correlate/order.h"
#include "collector/correlate/path.h"
#include "collector/correlate/place.h"
#include "collector/correlate/witness.h"

static int by_onset(const void *a, const void *b)
{
    return witness_compare(*(const struct disturbance *const *)a,
                           *(const struct disturbance *const *)b);
}

static void gather(const struct group *group, const struct disturbance **members)
{
    size_t count = 0;
    for (size_t i = 0; i < group->count; i++) {
        for (size_t j = 0; j < group->elements[i]->count; j++) {
            members[count++] = entry_now(group->elements[i]->members[j]);
        }
    }
    qsort(members, count, sizeof(const struct disturbance *), by_onset);
}

static void fill_members(const struct disturbance *const *members, size_t count,
                         struct coincidence *coincidence)
{
    coincidence->start_ns = members[0]->onset_ns;
    coincidence->end_ns = 0;
    for (size_t i = 0; i < count; i++) {
        if (i < COINCIDENCE_MEMBERS_MAX) {
            coincidence->members[coincidence->member_count++] = *members[i];
        } else {
            coincidence->dropped_members++;
        }
        if (members[i]->end_ns > coincidence->end_ns) {
            coincidence->end_ns = members[i]->end_ns;
        }
    }
    if (coincidence->end_ns == 0) {
        coincidence->end_ns = members[count - 1]->onset_ns;
    }
}

static void fill_order(const struct site *site, struct coincidence *coincidence)
{
    order_first(coincidence->order, coincidence->order_count);
    coincidence->together = order_together(coincidence->order, coincidence->order_count);
    coincidence->first_known = !coincidence->together && coincidence->order_count > 0 &&
                               coincidence->order[0].first_probability >= site->order_confidence;
}

static int point_by_time(const void *a, const void *b)
{
    const struct path_point *left = a;
    const struct path_point *right = b;
    if (left->time_ns != right->time_ns) {
        return left->time_ns < right->time_ns ? -1 : 1;
    }
    return (left->node > right->node) - (left->node < right->node);
}

static void fill_path(const struct judge *judge, const struct group *group,
                      struct coincidence *coincidence)
{
    struct path_point points[COINCIDENCE_MEMBERS_MAX];
    size_t count = 0;
    for (size_t i = 0; i < group->count && count < COINCIDENCE_MEMBERS_MAX; i++) {
        const struct disturbance *anchor = cluster_anchor(group->elements[i]);
        points[count].node = anchor->node;
        points[count].time_ns = anchor->onset_ns;
        points[count++].time_sd_ns = disturbance_onset_sd_ns(anchor);
    }
    qsort(points, count, sizeof points[0], point_by_time);
    coincidence->path_count =
        path_trace(judge->site, points, count, coincidence->path, COINCIDENCE_MEMBERS_MAX);
    path_fit_speed(judge->site, points, count, &coincidence->speed);
}

/* The widest gates that this chain's own kind of hops would pass. */
static struct chance_hops hops_of(const struct group *group)
{
    struct chance_hops hops = {0.0, 0.0, GATE_AIR_FASTEST_M_S, 0.0};
    double widest_sd_ns = 0.0;
    for (size_t i = 0; i < group->count; i++) {
        const struct cluster *here = group->elements[i];
        double sd_ns = (double)disturbance_onset_sd_ns(cluster_anchor(here));
        widest_sd_ns = fmax(widest_sd_ns, sd_ns);
        hops.slack_m = cluster_has_motion(here) ? GATE_SENSING_M : hops.slack_m;
        if (i > 0) {
            double slowest;
            double fastest;
            (void)hop_limits(group->elements[i - 1], here, &slowest, &fastest);
            hops.slowest_m_s = fmin(hops.slowest_m_s, slowest);
            hops.fastest_m_s = fmax(hops.fastest_m_s, fastest);
        }
    }
    hops.extra_s = 4.0 * sqrt(2.0) * widest_sd_ns * 1e-9;
    return hops;
}

static int fill_chance(const struct judge *judge, const struct group *group, int64_t now_ns,
                       const struct disturbance *const *members, size_t member_count,
                       struct coincidence *coincidence, struct error *error)
{
    size_t nodes = judge->site->node_count;
    double *rates_hz = malloc((nodes ? nodes : 1) * sizeof *rates_hz);
    if (!rates_hz) {
        return error_set(error, ERROR_MEMORY, "chance: out of memory");
    }
    rates_nodes(judge->rates, now_ns, members, member_count, rates_hz);
    double rate_hz = 0.0;
    int status = 0;
    if (coincidence->kind == COINCIDENCE_PROMPT) {
        double tau_s = (double)group->elements[0]->gate_ns * 1e-9;
        rate_hz = chance_prompt_hz(rates_hz, nodes, coincidence->node_count, tau_s);
    } else {
        struct chance_hops hops = hops_of(group);
        status = chance_travelling_hz(judge->layout, rates_hz, coincidence->node_count, &hops,
                                      &rate_hz, error);
    }
    free(rates_hz);
    coincidence->chance = chance_of_night(rate_hz);
    return status;
}

int judge_group(const struct judge *judge, const struct group *group, int64_t now_ns,
                struct coincidence *coincidence, struct error *error)
{
    size_t count = group_member_count(group);
    const struct disturbance **members = malloc(count * sizeof(const struct disturbance *));
    if (!members) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a coincidence");
    }
    memset(coincidence, 0, sizeof *coincidence);
    gather(group, members);
    coincidence->id = group->id;
    coincidence->kind = group->count > 1 ? COINCIDENCE_TRAVELLING : COINCIDENCE_PROMPT;
    fill_members(members, count, coincidence);
    witness_count(judge->site, members, count, coincidence);
    fill_order(judge->site, coincidence);
    if (coincidence->kind == COINCIDENCE_TRAVELLING) {
        fill_path(judge, group, coincidence);
    }
    place_coincidence(judge->site, coincidence, &coincidence->source);
    int status = fill_chance(judge, group, now_ns, members, count, coincidence, error);
    if (status == 0) {
        causes_judge(judge->site, judge->marks, judge->mark_count, judge->rates, coincidence);
    }
    free(members);
    return status;
}
