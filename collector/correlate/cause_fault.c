/* A sensor's fault: what is left without the witnesses that are at their rail or never rest is seen
 * by fewer than two nodes.
 * Must never call a strong field a fault because it clips one sensor. Called through causes.c. */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/say.h"

#include <math.h>

/* Our choices. */
#define AROUND_S 60.0
#define OTHERS_S 20.0 /* another node's, nearer by: it may have its own trouble at another time */
#define RESTLESS 5    /* onsets of one quantity of one node within AROUND_S either way */
/* Peak over threshold from which two are enough: what is so high and touches no neighbour is at the
 * sensor itself. */
#define FAR_OVER 3.0
#define RESTLESS_FAR 2
#define BRIEF_S 0.15 /* each no longer so high: a loose contact, not what comes and goes */
#define OTHERS 3     /* times as many as any other node has */

struct unrest {
    size_t own;   /* brief onsets of this node and quantity */
    size_t other; /* the most that any other node has */
};

static bool at_rail(const struct disturbance *member)
{
    return member->clipped && (member->one_sample || (member->end_ns && !member->returned));
}

/* By the time at half of its height: several spikes that ran into one are still brief. */
static bool is_brief(const struct disturbance *member)
{
    return member->band == BAND_REST && member->end_ns != 0 && member->half_s <= BRIEF_S;
}

/* Brief onsets of the quantity at this node, or the most at any other. */
static size_t brief_onsets(const struct cause_case *question, const struct disturbance *member,
                           bool others)
{
    const struct disturbance *around[RECENT_MAX];
    double span_s = others ? OTHERS_S : AROUND_S;
    size_t most = 0;
    size_t count = cause_around(question, member->quantity, member->band, span_s, span_s, around);
    for (size_t i = 0; i < count; i++) {
        size_t same = 0;
        for (size_t j = 0; j < count; j++) {
            same += around[j]->node == around[i]->node && is_brief(around[j]);
        }
        if ((around[i]->node != member->node) == others) {
            most = same > most ? same : most;
        }
    }
    return most;
}

static struct unrest unrest_of(const struct cause_case *question, const struct disturbance *member)
{
    return (struct unrest){brief_onsets(question, member, false),
                           brief_onsets(question, member, true)};
}

static bool restless(const struct cause_case *question, const struct disturbance *member)
{
    struct unrest unrest = unrest_of(question, member);
    size_t least = cause_over(member) >= FAR_OVER ? RESTLESS_FAR : RESTLESS;
    return member->quantity != QUANTITY_MOTION && is_brief(member) && unrest.own >= least &&
           unrest.own >= OTHERS * unrest.other;
}

/* What a spike leaves in the mains' window is the spike's. */
static bool shaken(const struct cause_case *question, const struct disturbance *member)
{
    for (size_t i = 0; i < question->coincidence->member_count; i++) {
        const struct disturbance *other = &question->coincidence->members[i];
        if (other->node == member->node && other->quantity == member->quantity &&
            restless(question, other)) {
            return true;
        }
    }
    return false;
}

static bool seen_sound(const struct cause_case *question, uint32_t node)
{
    for (size_t i = 0; i < question->coincidence->member_count; i++) {
        const struct disturbance *member = &question->coincidence->members[i];
        if (member->node == node && !at_rail(member) && !shaken(question, member)) {
            return true;
        }
    }
    return false;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    const struct disturbance *busiest = &coincidence->members[0];
    struct unrest worst = {0, 0};
    size_t rails = 0;
    size_t sound = 0;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        struct unrest unrest = unrest_of(question, member);
        rails += at_rail(member);
        if (unrest.own > worst.own) {
            worst = unrest;
            busiest = member;
        }
    }
    for (size_t i = 0; i < coincidence->order_count; i++) {
        sound += seen_sound(question, coincidence->order[i].node);
    }
    say_add(opinion->reason, sizeof opinion->reason,
            "%zu of %zu at the rail; %.12s %.12s had %zu brief onsets within %.0f s, no other node"
            " more than %zu; %zu of %zu nodes sound",
            rails, coincidence->member_count, question->site->nodes[busiest->node].id,
            busiest->quantity_text, worst.own, AROUND_S, worst.other, sound,
            coincidence->order_count);
    opinion->fits = sound < 2;
    opinion->likelihood = 0.9;
}

const struct cause_test cause_fault = {CAUSE_SENSOR_FAULT, judge};
