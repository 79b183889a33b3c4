/* A sensor's fault: what is left without the witnesses that are at their rail or never rest is seen
 * by fewer than two nodes.
 * Must never call a strong field a fault because it clips one sensor. Called through causes.c. */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/gate.h"
#include "collector/correlate/say.h"

#include <math.h>

/* Our choices. */
#define AROUND_S 60.0
#define RESTLESS 5 /* onsets of one quantity of one node within AROUND_S either way */
/* Peak over threshold from which two are enough: what is so high and touches no neighbour is at the
 * sensor itself. */
#define FAR_OVER 3.0
#define RESTLESS_FAR 2
/* What barely passes its threshold comes by itself as often as was asked for; a restless node links
 * it to anything that follows, so there it proves nothing. */
#define WEAK 1.2
#define BRIEF_S 0.15    /* each no longer so high: a loose contact, not what comes and goes */
#define FELT_S 0.05     /* what another node felt too came there within this */
#define ALONE_PART 0.75 /* of a contact's onsets, felt by no other node: the rest is chance */

struct unrest {
    size_t own;   /* brief onsets of this node and quantity */
    size_t alone; /* of them, felt by no other node's */
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

static bool felt_elsewhere(const struct disturbance *onset, const struct disturbance *const *around,
                           size_t count)
{
    for (size_t i = 0; i < count; i++) {
        double apart_s = fabs((double)(around[i]->onset_ns - onset->onset_ns)) * 1e-9;
        if (around[i]->node != onset->node && apart_s <= FELT_S) {
            return true;
        }
    }
    return false;
}

static struct unrest unrest_of(const struct cause_case *question, const struct disturbance *member)
{
    const struct disturbance *around[RECENT_MAX];
    struct unrest unrest = {0, 0};
    size_t count =
        cause_around(question, member->quantity, member->band, AROUND_S, AROUND_S, around);
    for (size_t i = 0; i < count; i++) {
        if (around[i]->node == member->node && is_brief(around[i])) {
            unrest.own++;
            unrest.alone += !felt_elsewhere(around[i], around, count);
        }
    }
    return unrest;
}

static bool restless(const struct cause_case *question, const struct disturbance *member)
{
    struct unrest unrest = unrest_of(question, member);
    size_t least = cause_over(member) >= FAR_OVER ? RESTLESS_FAR : RESTLESS;
    return member->quantity != QUANTITY_MOTION && is_brief(member) && unrest.own >= least &&
           (double)unrest.alone >= ALONE_PART * (double)unrest.own;
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

/* Not motion: a switch has no more and no less. */
static bool is_weak(const struct cause_case *question, const struct disturbance *member)
{
    return question->coincidence->kind == COINCIDENCE_TRAVELLING &&
           member->quantity != QUANTITY_MOTION && cause_over(member) < WEAK;
}

static bool seen_sound(const struct cause_case *question, uint32_t node, bool broken)
{
    for (size_t i = 0; i < question->coincidence->member_count; i++) {
        const struct disturbance *member = &question->coincidence->members[i];
        if (member->node == node && !at_rail(member) && !shaken(question, member) &&
            !(broken && is_weak(question, member))) {
            return true;
        }
    }
    return false;
}

/* Whether somebody could have gone from one to the other, or it was at once. */
static bool within_reach(const struct site *site, const struct order_entry *a,
                         const struct order_entry *b)
{
    double apart_s = fabs((double)(b->onset_ns - a->onset_ns)) * 1e-9;
    double sd_s = 1e-9 * hypot((double)a->onset_sd_ns, (double)b->onset_sd_ns);
    double way_m = fmax(site_node_walk_m(site, a->node, b->node),
                        site_node_distance_m(site, a->node, b->node));
    return apart_s <= (way_m + GATE_SENSING_M) / GATE_BODY_SLOWEST_M_S + 2.0 * sd_s;
}

/* Whether any two of the sound ones could coincide by themselves. Air takes any time. */
static bool coincide(const struct cause_case *question, const struct order_entry *const *sound,
                     size_t count)
{
    const struct disturbance *air[COINCIDENCE_MEMBERS_MAX];
    bool any = cause_strongest(question->coincidence, QUANTITY_TEMPERATURE, BAND_REST, air) > 0 ||
               cause_strongest(question->coincidence, QUANTITY_HUMIDITY, BAND_REST, air) > 0;
    for (size_t i = 0; i < count && !any; i++) {
        for (size_t j = i + 1; j < count && !any; j++) {
            any = within_reach(question->site, sound[i], sound[j]);
        }
    }
    return any;
}

/* What at the sensors themselves was amiss. */
struct amiss {
    size_t rails;
    size_t shaken;
    struct unrest worst;
    const struct disturbance *busiest; /* whose unrest that is */
};

static struct amiss look_at_sensors(const struct cause_case *question)
{
    const struct coincidence *coincidence = question->coincidence;
    struct amiss amiss = {0, 0, {0, 0}, &coincidence->members[0]};
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        struct unrest unrest = unrest_of(question, member);
        amiss.rails += at_rail(member);
        amiss.shaken += shaken(question, member);
        if (unrest.own > amiss.worst.own) {
            amiss.worst = unrest;
            amiss.busiest = member;
        }
    }
    return amiss;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    const struct order_entry *nodes[COINCIDENCE_MEMBERS_MAX];
    struct amiss amiss = look_at_sensors(question);
    bool broken = amiss.rails + amiss.shaken > 0;
    size_t sound = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        if (seen_sound(question, coincidence->order[i].node, broken)) {
            nodes[sound++] = &coincidence->order[i];
        }
    }
    bool apart = sound > 1 && sound < coincidence->order_count && !coincide(question, nodes, sound);
    say_add(
        opinion->reason, sizeof opinion->reason,
        "%zu of %zu at the rail; %.12s %.12s had %zu brief onsets within %.0f s, %zu of them felt"
        " nowhere else; %zu of %zu nodes sound%s",
        amiss.rails, coincidence->member_count, question->site->nodes[amiss.busiest->node].id,
        amiss.busiest->quantity_text, amiss.worst.own, AROUND_S, amiss.worst.alone, sound,
        coincidence->order_count, apart ? ", too far apart for one cause" : "");
    opinion->fits = sound < 2 || apart;
    opinion->likelihood = 0.9;
}

const struct cause_test cause_fault = {CAUSE_SENSOR_FAULT, judge};
