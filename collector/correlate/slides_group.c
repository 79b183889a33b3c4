/* Echoes and chains over plain arrays.
 * Must never allocate. Used by slides_window.c. */
#include "collector/correlate/slides_inside.h"
#include "collector/correlate/slides_merit.h"

/* A chain of more elements than this takes no more. */
#define CHAIN_MAX 48

static struct slides_element *last_of(struct slides_grouping *grouping,
                                      const struct grouping_group *group)
{
    return &grouping->elements[group->last];
}

/* Until when it may grow, and how fast its way was. */
static void set_times(struct slides_grouping *grouping, struct grouping_group *group,
                      int64_t now_ns)
{
    const struct slides_element *last = last_of(grouping, group);
    int64_t time_ns = last->anchor.time_ns - group->begun_ns;
    int64_t until_ns = now_ns + SLIDES_ECHO_NS + GATE_WIDEST_NS;
    group->anchor = last->anchor;
    group->speed_m_s = time_ns > 0 ? group->way_m / ((double)time_ns * 1e-9) : 0.0;
    if (group->core) {
        group->anchor.traits = SLIDES_NO_CHAIN;
    } else {
        int64_t hop_ns = slides_join_until_ns(grouping->hops, &last->anchor);
        until_ns = now_ns + SLIDES_ECHO_MOTION_NS + GATE_WIDEST_NS;
        until_ns = hop_ns > until_ns ? hop_ns : until_ns;
    }
    int64_t latest_ns = group->last_onset_ns + SLIDES_LONGEST_NS;
    group->join_until_ns = until_ns < latest_ns ? until_ns : latest_ns;
    if (group->join_until_ns < grouping->retire_ns) {
        grouping->retire_ns = group->join_until_ns;
    }
}

/* All of its way again: one of its elements has changed. */
static void measure(struct slides_grouping *grouping, struct grouping_group *group)
{
    const struct slides_element *to = last_of(grouping, group);
    group->way_m = 0.0;
    group->last_onset_ns = to->last_ns;
    for (uint32_t i = 1; i < group->count; i++) {
        const struct slides_element *from = &grouping->elements[to->previous];
        unsigned kind = grouping->hops->kinds[from->anchor.traits][to->anchor.traits];
        group->way_m += slides_route_m(grouping->hops, kind, &from->anchor, &to->anchor);
        group->last_onset_ns =
            from->last_ns > group->last_onset_ns ? from->last_ns : group->last_onset_ns;
        to = from;
    }
    group->begun_ns = to->anchor.time_ns;
}

/* A group that nothing can join any more: told if it is a coincidence. */
static void tell(struct slides_grouping *grouping, const struct grouping_group *group)
{
    const struct slides_element *element = last_of(grouping, group);
    struct slides_found found = {.kind = COINCIDENCE_PROMPT, .hops = group->hops};
    if (group->count == 1 && element->count == 1) {
        return;
    }
    struct slides_census census;
    slides_census_begin(&grouping->members, &census);
    for (uint32_t i = 0; i < group->count; i++) {
        slides_census_add(&grouping->members, element, &census);
        element = &grouping->elements[element->previous];
    }
    found.nodes = census.nodes;
    found.first = census.first;
    if (group->count > 1) {
        found.kind = COINCIDENCE_TRAVELLING;
        found.looseness = group->disagreement / (double)(group->count - 1);
    } else {
        found.looseness = (double)census.span_ns / (double)last_of(grouping, group)->gate_ns;
    }
    found.looseness = fmin(found.looseness, 1.0);
    if (found.nodes > 1) {
        grouping->found(grouping->context, &found);
    }
}

void slides_retire(struct slides_grouping *grouping, int64_t now_ns)
{
    if (now_ns <= grouping->retire_ns) {
        return;
    }
    size_t kept = 0;
    int64_t next_ns = INT64_MAX;
    for (size_t i = 0; i < grouping->group_count; i++) {
        if (grouping->groups[i].join_until_ns < now_ns) {
            tell(grouping, &grouping->groups[i]);
        } else {
            if (kept != i) {
                grouping->groups[kept] = grouping->groups[i];
            }
            next_ns = grouping->groups[kept].join_until_ns < next_ns
                          ? grouping->groups[kept].join_until_ns
                          : next_ns;
            kept++;
        }
    }
    grouping->group_count = kept;
    grouping->retire_ns = next_ns;
}

/* hop_possible of hop.c. */
static bool hop_fits(struct slides_grouping *grouping, const struct grouping_group *group,
                     const struct slides_element *cluster, struct slides_merit *merit)
{
    if (group->count >= CHAIN_MAX ||
        !slides_hop_fits(grouping->hops, &group->anchor, &cluster->anchor, merit)) {
        return false;
    }
    const struct slides_element *last = last_of(grouping, group);
    if (slides_has_node(&grouping->members, last, cluster->anchor.node) ||
        group->members + cluster->count > COINCIDENCE_MEMBERS_MAX) {
        return false;
    }
    merit->first = group->count == 1;
    if (!merit->first) {
        if (grouping->elements[last->previous].anchor.node == cluster->anchor.node) {
            return false;
        }
        merit->pace_m_s = group->speed_m_s;
        return slides_speeds_agree(merit);
    }
    return true;
}

static struct grouping_group *find_chain(struct slides_grouping *grouping,
                                         const struct slides_element *cluster, bool like_only,
                                         double *disagreement)
{
    struct grouping_group *best = NULL;
    struct slides_merit best_merit = {0};
    size_t count = 0;
    for (size_t i = 0; i < grouping->group_count; i++) {
        grouping->candidates[count] = (uint32_t)i;
        count +=
            slides_delay_may_fit(grouping->hops, &grouping->groups[i].anchor, &cluster->anchor);
    }
    for (size_t i = 0; i < count; i++) {
        struct grouping_group *group = &grouping->groups[grouping->candidates[i]];
        struct slides_merit merit;
        if (!hop_fits(grouping, group, cluster, &merit) || (like_only && merit.unlike)) {
            continue;
        }
        slides_set_disagreement(&merit);
        if (!best || slides_better(&merit, &best_merit)) {
            best = group;
            best_merit = merit;
        }
    }
    *disagreement = best ? 1.0 - best_merit.less / best_merit.more : 0.0;
    return best;
}

static struct slides_element *find_echo(struct slides_grouping *grouping,
                                        const struct slides_element *cluster,
                                        struct grouping_group **group)
{
    struct slides_element *best = NULL;
    int64_t best_gap_ns = INT64_MAX;
    for (size_t i = 0; i < grouping->group_count; i++) {
        struct grouping_group *candidate = &grouping->groups[i];
        /* No element can answer for what came long after the last. */
        if (cluster->anchor.time_ns - candidate->last_onset_ns >
            SLIDES_ECHO_MOTION_NS + GATE_WIDEST_NS) {
            continue;
        }
        struct slides_element *home = last_of(grouping, candidate);
        for (uint32_t j = 0; j < candidate->count; j++) {
            bool strangers = home->count == 1 && cluster->count == 1 &&
                             home->anchor.node != cluster->anchor.node;
            int64_t gap_ns =
                strangers ? INT64_MAX
                          : slides_echo_gap_ns(&grouping->members, candidate->core, home, cluster);
            if (gap_ns < best_gap_ns) {
                best = home;
                best_gap_ns = gap_ns;
                *group = candidate;
            }
            home = &grouping->elements[home->previous];
        }
    }
    return best;
}

static void extend(struct slides_grouping *grouping, struct grouping_group *group,
                   const struct slides_element *cluster, double disagreement, int64_t now_ns)
{
    struct slides_element *made = &grouping->elements[grouping->element_count];
    unsigned kind = grouping->hops->kinds[group->anchor.traits][cluster->anchor.traits];
    *made = *cluster;
    made->previous = group->last;
    group->hops |= 1u << kind;
    group->way_m += slides_route_m(grouping->hops, kind, &group->anchor, &cluster->anchor);
    if (cluster->last_ns > group->last_onset_ns) {
        group->last_onset_ns = cluster->last_ns;
    }
    group->last = (uint32_t)grouping->element_count++;
    group->count++;
    group->members += cluster->count;
    group->disagreement += disagreement;
    set_times(grouping, group, now_ns);
}

static void begin(struct slides_grouping *grouping, const struct slides_element *cluster, bool core,
                  int64_t now_ns)
{
    struct grouping_group *group = &grouping->groups[grouping->group_count++];
    *group = (struct grouping_group){.last = (uint32_t)grouping->element_count,
                                     .count = 1,
                                     .members = cluster->count,
                                     .core = core,
                                     .last_onset_ns = cluster->last_ns,
                                     .begun_ns = cluster->anchor.time_ns};
    grouping->elements[grouping->element_count++] = *cluster;
    set_times(grouping, group, now_ns);
}

void slides_place(struct slides_grouping *grouping, struct slides_element *cluster, int64_t now_ns)
{
    struct slides_members *members = &grouping->members;
    bool core = cluster->count > 1 && slides_still_nodes(members, cluster) > 1;
    struct grouping_group *group = NULL;
    double disagreement = 0.0;
    slides_retire(grouping, now_ns);
    if (core && (cluster->anchor.traits & SLIDES_MOTION)) {
        struct slides_element still;
        struct slides_element motion;
        slides_split_motion(members, cluster, &still, &motion);
        group = find_chain(grouping, &motion, true, &disagreement);
        if (group) {
            extend(grouping, group, &motion, disagreement, now_ns);
            *cluster = still;
        } else {
            slides_join(members, &still, &motion);
            *cluster = still;
        }
    }
    struct slides_element *home = find_echo(grouping, cluster, &group);
    if (home) {
        slides_join(members, home, cluster);
        group->members += cluster->count;
        measure(grouping, group);
        set_times(grouping, group, now_ns);
        return;
    }
    group = core ? NULL : find_chain(grouping, cluster, false, &disagreement);
    if (group) {
        extend(grouping, group, cluster, disagreement, now_ns);
    } else {
        begin(grouping, cluster, core, now_ns);
    }
}
