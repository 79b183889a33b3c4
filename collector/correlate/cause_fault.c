/* A sensor's fault: what is left without the witnesses that are at their rail or never rest is seen
 * by fewer than two nodes.
 * Must never call a strong field a fault because it clips one sensor. Called through causes.c. */
#include "collector/correlate/cause.h"
#include "collector/correlate/say.h"

/* Our choices. */
#define LATELY_NS INT64_C(600000000000)
#define RESTLESS 20 /* onsets within LATELY_NS */

static bool at_rail(const struct disturbance *member)
{
    return member->clipped && (member->one_sample || (member->end_ns && !member->returned));
}

static bool seen_sound(const struct cause_case *question, uint32_t node)
{
    for (size_t i = 0; i < question->coincidence->member_count; i++) {
        const struct disturbance *member = &question->coincidence->members[i];
        if (member->node == node && !at_rail(member) &&
            rates_lately(question->rates, member, LATELY_NS) < RESTLESS) {
            return true;
        }
    }
    return false;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct coincidence *coincidence = question->coincidence;
    size_t rails = 0;
    size_t most = 0;
    size_t sound = 0;
    uint32_t busiest = coincidence->members[0].node;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        size_t lately = rates_lately(question->rates, member, LATELY_NS);
        rails += at_rail(member);
        busiest = lately > most ? member->node : busiest;
        most = lately > most ? lately : most;
    }
    for (size_t i = 0; i < coincidence->order_count; i++) {
        sound += seen_sound(question, coincidence->order[i].node);
    }
    say_add(opinion->reason, sizeof opinion->reason,
            "%zu of %zu at the rail, at most %zu onsets in 10 min (%.12s), %zu of %zu nodes sound",
            rails, coincidence->member_count, most, question->site->nodes[busiest].id, sound,
            coincidence->order_count);
    opinion->fits = sound < 2;
    opinion->likelihood = 0.9;
}

const struct cause_test cause_fault = {CAUSE_SENSOR_FAULT, false, judge};
