/* Members, anchors, echoes and hops of elements: cluster.c, chain.c and hop.c over plain arrays.
 * Must never allocate. Used by slides_group.c. */
#include "collector/correlate/slides_element.h"

#include <math.h>

#include "collector/correlate/chain.h"
#include "collector/correlate/gate.h"

_Static_assert(SLIDES_ECHO_NS == CHAIN_ECHO_NS && SLIDES_ECHO_MOTION_NS == CHAIN_ECHO_MOTION_NS &&
                   SLIDES_LONGEST_NS == GROUP_LONGEST_NS,
               "slides group as the correlator does");

void slides_alone(struct slides_members *members, const struct slides_item *item,
                  struct slides_element *element)
{
    const struct slides_place *place = &members->places[item->index];
    *element = (struct slides_element){
        .anchor = {item->time_ns, place->sd_ns, item->index, place->node, place->traits},
        .head = item->index,
        .tail = item->index,
        .count = 1,
        .last_ns = item->time_ns};
}

/* Whether b stands for both: motion before anything else, then the earlier one. */
static bool anchors_before(const struct slides_anchor *a, const struct slides_anchor *b)
{
    if ((a->traits ^ b->traits) & SLIDES_MOTION) {
        return b->traits & SLIDES_MOTION;
    }
    return b->time_ns != a->time_ns ? b->time_ns < a->time_ns : b->index < a->index;
}

void slides_join(struct slides_members *members, struct slides_element *into,
                 const struct slides_element *from)
{
    unsigned both = into->anchor.traits & from->anchor.traits;
    unsigned either = into->anchor.traits | from->anchor.traits;
    if (anchors_before(&into->anchor, &from->anchor)) {
        into->anchor = from->anchor;
    }
    into->anchor.traits =
        (uint8_t)((either & (SLIDES_MOTION | SLIDES_MAGNETIC)) | (both & SLIDES_SLOW));
    members->next[into->tail] = from->head;
    into->tail = from->tail;
    into->count += from->count;
    into->last_ns = from->last_ns > into->last_ns ? from->last_ns : into->last_ns;
    into->gate_ns = from->gate_ns > into->gate_ns ? from->gate_ns : into->gate_ns;
}

void slides_split_motion(struct slides_members *members, const struct slides_element *element,
                         struct slides_element *still, struct slides_element *motion)
{
    uint32_t at = element->head;
    still->count = 0;
    motion->count = 0;
    for (uint32_t i = 0; i < element->count; i++) {
        uint32_t next = members->next[at];
        struct slides_item item = {members->times_ns[at], at};
        struct slides_element one;
        slides_alone(members, &item, &one);
        one.gate_ns = element->gate_ns;
        struct slides_element *side = one.anchor.traits & SLIDES_MOTION ? motion : still;
        if (side->count) {
            slides_join(members, side, &one);
        } else {
            *side = one;
        }
        at = next;
    }
}

bool slides_has_node(const struct slides_members *members, const struct slides_element *element,
                     uint16_t node)
{
    uint32_t at = element->head;
    for (uint32_t i = 0; i < element->count; i++, at = members->next[at]) {
        if (members->places[at].node == node) {
            return true;
        }
    }
    return false;
}

size_t slides_still_nodes(struct slides_members *members, const struct slides_element *element)
{
    uint32_t at = element->head;
    size_t nodes = 0;
    members->stamp++;
    for (uint32_t i = 0; i < element->count; i++, at = members->next[at]) {
        const struct slides_place *place = &members->places[at];
        if (!(place->traits & SLIDES_MOTION) && members->stamps[place->node] != members->stamp) {
            members->stamps[place->node] = members->stamp;
            nodes++;
        }
    }
    return nodes;
}

static bool all_nodes_in(const struct slides_members *members, const struct slides_element *cluster,
                         const struct slides_element *home, bool *many)
{
    uint32_t at = cluster->head;
    uint16_t first = members->places[at].node;
    for (uint32_t i = 0; i < cluster->count; i++, at = members->next[at]) {
        uint16_t node = members->places[at].node;
        *many = *many || node != first;
        if (!slides_has_node(members, home, node)) {
            return false;
        }
    }
    return true;
}

/* The earliest of the members; of one node's members where node is one. */
static bool earliest(const struct slides_members *members, const struct slides_element *element,
                     int node, int64_t *time_ns, uint16_t *whose)
{
    uint32_t at = element->head;
    bool any = false;
    for (uint32_t i = 0; i < element->count; i++, at = members->next[at]) {
        uint16_t own = members->places[at].node;
        if ((node < 0 || own == node) && (!any || members->times_ns[at] < *time_ns)) {
            *time_ns = members->times_ns[at];
            *whose = own;
            any = true;
        }
    }
    return any;
}

int64_t slides_echo_gap_ns(const struct slides_members *members, bool core,
                           const struct slides_element *home, const struct slides_element *cluster)
{
    bool motion = cluster->anchor.traits & SLIDES_MOTION;
    bool many = false;
    if ((core && motion) || !all_nodes_in(members, cluster, home, &many) || (!core && many)) {
        return INT64_MAX;
    }
    int64_t first_ns = 0;
    int64_t own_ns = 0;
    uint16_t node = 0;
    (void)earliest(members, cluster, -1, &first_ns, &node);
    (void)earliest(members, home, node, &own_ns, &node);
    bool person = !core && (motion || (home->anchor.traits & SLIDES_MOTION));
    int64_t gap_ns = first_ns > own_ns ? first_ns - own_ns : own_ns - first_ns;
    return gap_ns <= (person ? SLIDES_ECHO_MOTION_NS : SLIDES_ECHO_NS) ? gap_ns : INT64_MAX;
}

void slides_census_begin(struct slides_members *members, struct slides_census *census)
{
    members->stamp++;
    *census = (struct slides_census){.first_ns = INT64_MAX};
}

void slides_census_add(struct slides_members *members, const struct slides_element *element,
                       struct slides_census *census)
{
    uint32_t at = element->head;
    int64_t latest_ns = INT64_MIN;
    for (uint32_t i = 0; i < element->count; i++, at = members->next[at]) {
        uint16_t node = members->places[at].node;
        int64_t time_ns = members->times_ns[at];
        if (time_ns < census->first_ns || (time_ns == census->first_ns && at < census->first)) {
            census->first_ns = time_ns;
            census->first = at;
        }
        if (members->stamps[node] != members->stamp) {
            members->stamps[node] = members->stamp;
            census->nodes++;
            latest_ns = time_ns > latest_ns ? time_ns : latest_ns;
        }
    }
    census->span_ns = latest_ns > census->first_ns ? latest_ns - census->first_ns : 0;
}

double slides_route_m(const struct slides_hops *hops, unsigned kind,
                      const struct slides_anchor *from, const struct slides_anchor *to)
{
    return kind == HOP_NEVER ? 0.0
                             : hops->reaches[slides_pair(hops, kind, from->node, to->node)].route_m;
}

int64_t slides_join_until_ns(const struct slides_hops *hops, const struct slides_anchor *last)
{
    bool air = !(last->traits & SLIDES_MOTION);
    double reach_m = hops->farthest_m[last->node] + GATE_SENSING_M;
    double wait_s = reach_m / (air ? GATE_AIR_SLOWEST_M_S : GATE_BODY_SLOWEST_M_S) +
                    4.0 * (double)last->sd_ns * 1e-9;
    double longest_s = (double)SLIDES_LONGEST_NS * 1e-9;
    return last->time_ns + (int64_t)(fmin(wait_s, longest_s) * 1e9 + 0.5) + GATE_WIDEST_NS;
}
