/* A draught: the air falls in temperature in one room after another, as fast as indoor air moves.
 * Must never call warming a draught. Called through causes.c.
 * Indoor air moves at 0.05 to 0.5 m/s where it is felt (the range of ISO 7730:2005's draught model,
 * from memory). */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/gate.h"
#include "collector/correlate/say.h"

#include <math.h>

#define SLOWEST_M_S 0.1
#define FASTEST_M_S 0.5
/* Where all the house cools a little, within minutes, it is hardly one draught. Our choices. */
#define SHARP 2.5 /* thresholds */
#define EVERYWHERE_S 150.0
/* A sharp fall at nodes near each other within what a thermometer's seconds leave open. */
#define NEAR_M 8.0
#define TOGETHER_S 4.0
#define TOGETHER_LIKELIHOOD 0.6
/* A front of cold air that falls in through a door runs faster, and nothing else cools thermometers
 * so sharply one after another. */
#define FRONT_LIKELIHOOD 0.5

static bool gently_everywhere(const struct cause_case *question, const struct disturbance *top)
{
    const struct disturbance *around[RECENT_MAX];
    size_t count =
        cause_around(question, QUANTITY_TEMPERATURE, BAND_REST, EVERYWHERE_S, EVERYWHERE_S, around);
    size_t nodes = cause_nodes(around, count);
    return cause_over(top) <= SHARP && nodes >= 3 &&
           2 * nodes >= cause_nodes_having(question->site, QUANTITY_TEMPERATURE);
}

/* No order to be told, since it came to neighbours at once. */
static bool at_once_nearby(const struct site *site, const struct path_point *points, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < i; j++) {
            double apart_s = fabs((double)(points[i].time_ns - points[j].time_ns)) * 1e-9;
            if (apart_s > TOGETHER_S ||
                site_node_distance_m(site, points[i].node, points[j].node) > NEAR_M) {
                return false;
            }
        }
    }
    return true;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    struct path_point points[COINCIDENCE_MEMBERS_MAX];
    size_t count = cause_strongest(question->coincidence, QUANTITY_TEMPERATURE, BAND_REST, members);
    size_t falling = 0;
    double deepest = 0.0;
    for (size_t i = 0; i < count; i++) {
        const struct disturbance *member = members[i];
        falling += member->peak_value < 0.0;
        deepest = member->peak_value < deepest ? member->peak_value : deepest;
        points[i].node = member->node;
        points[i].time_ns = member->onset_ns;
        points[i].time_sd_ns = disturbance_onset_sd_ns(member);
    }
    size_t size = sizeof opinion->reason;
    struct speed speed;
    cause_speed(question->site, points, count, &speed);
    if (count < 2) {
        say_add(opinion->reason, size, "temperature changed at %zu node%s", count,
                count == 1 ? "" : "s");
        return;
    }
    say_add(opinion->reason, size, "temperature fell at %zu of %zu nodes, by up to %.1f Cel",
            falling, count, -deepest);
    bool sharp = cause_over(cause_top(members, count)) > SHARP;
    if (falling == count && sharp && at_once_nearby(question->site, points, count)) {
        say_add(opinion->reason, size, ", sharply, at neighbours within %.0f s", TOGETHER_S);
        opinion->fits = true;
        opinion->likelihood = TOGETHER_LIKELIHOOD;
        return;
    }
    if (!speed.known) {
        say_add(opinion->reason, size, ", no speed to be told");
        return;
    }
    say_add(opinion->reason, size, ", one after another at %.2f m/s (%.2f to %.2f)",
            speed.value_m_s, speed.low_m_s, speed.high_m_s);
    opinion->fits =
        falling == count && speed.low_m_s <= FASTEST_M_S && speed.high_m_s >= SLOWEST_M_S;
    bool inside = speed.value_m_s <= FASTEST_M_S && speed.value_m_s >= SLOWEST_M_S;
    opinion->likelihood = inside ? 0.9 : 0.5;
    if (!opinion->fits && falling == count && sharp && speed.low_m_s <= GATE_AIR_FASTEST_M_S &&
        speed.high_m_s >= SLOWEST_M_S) {
        say_add(opinion->reason, size, ", sharply");
        opinion->fits = true;
        opinion->likelihood = FRONT_LIKELIHOOD;
    }
    if (gently_everywhere(question, cause_top(members, count))) {
        say_add(opinion->reason, size, "; so did the air all over the house, gently");
        opinion->likelihood = 0.4;
    }
}

const struct cause_test cause_draught = {CAUSE_DRAUGHT, judge};
