/* A heating cycle: a room's temperature turns at even intervals, by a step of the mains or not, or
 * room after room gently turns the same way within minutes.
 * Must never take one warm breath for a cycle. Called through causes.c. */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/say.h"

#include <math.h>

/* Our choices. */
#define LEAST_ONSETS 4
#define EVEN 0.15      /* spread of the intervals over their mean */
#define FEWER_ONSETS 3 /* where several rooms turned together */
#define MORE_EVEN 0.05
#define SHORTEST_S 60.0
#define FOLLOWS_S 180.0 /* the temperature after the electrical step */

#define AROUND_S 150.0
#define LEAST_ROOMS 3
#define GENTLE 2.5 /* thresholds at most: a door's draught is sharper */
#define ALL_LIKELIHOOD 0.6
#define SEVERAL_LIKELIHOOD 0.5 /* rooms that warm together, gently, though not most of them */

/* Nodes whose air turned the same way around that time; 0 where any did so sharply. */
static size_t turned_together(const struct cause_case *question, const struct disturbance *like)
{
    const struct disturbance *around[RECENT_MAX];
    const struct disturbance *same[RECENT_MAX];
    size_t same_count = 0;
    size_t count =
        cause_around(question, QUANTITY_TEMPERATURE, BAND_REST, AROUND_S, AROUND_S, around);
    for (size_t i = 0; i < count; i++) {
        if ((around[i]->peak_value < 0.0) != (like->peak_value < 0.0)) {
            continue;
        }
        if (cause_over(around[i]) > GENTLE) {
            return 0;
        }
        same[same_count++] = around[i];
    }
    return cause_nodes(same, same_count);
}

/* A sharp fall that comes again is a door that opens again. */
static bool falls_sharply(const struct coincidence *coincidence)
{
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    size_t count = cause_strongest(coincidence, QUANTITY_TEMPERATURE, BAND_REST, members);
    for (size_t i = 0; i < count; i++) {
        if (members[i]->peak_value < 0.0 && cause_over(members[i]) > GENTLE) {
            return true;
        }
    }
    return false;
}

/* Fewer turns, but more even. */
static bool is_beginning(const struct rhythm *rhythm)
{
    return rhythm->onsets >= FEWER_ONSETS && rhythm->spread <= MORE_EVEN &&
           rhythm->period_s >= SHORTEST_S;
}

static bool is_cycle(const struct rhythm *rhythm)
{
    return rhythm->onsets >= LEAST_ONSETS && rhythm->spread <= EVEN &&
           rhythm->period_s >= SHORTEST_S;
}

/* The member of these that repeats itself most evenly. */
static const struct disturbance *most_even(const struct cause_case *question, bool temperature,
                                           struct rhythm *best)
{
    const struct disturbance *found = NULL;
    *best = (struct rhythm){0, 0.0, INFINITY};
    for (size_t i = 0; i < question->coincidence->member_count; i++) {
        const struct disturbance *member = &question->coincidence->members[i];
        bool wanted =
            temperature ? member->quantity == QUANTITY_TEMPERATURE : member->band == BAND_MAINS;
        if (!wanted) {
            continue;
        }
        struct rhythm rhythm = rates_rhythm(question->rates, member);
        bool better = rhythm.onsets >= LEAST_ONSETS ? rhythm.spread < best->spread : !found;
        if (better) {
            *best = rhythm;
            found = member;
        }
    }
    return found;
}

static void say_rhythm(const struct cause_case *question, const char *what,
                       const struct disturbance *member, const struct rhythm *rhythm,
                       struct cause_opinion *opinion)
{
    size_t size = sizeof opinion->reason;
    const char *node = question->site->nodes[member->node].id;
    if (rhythm->onsets < 3) {
        say_add(opinion->reason, size, "%s at %.12s seen %zu time%s", what, node, rhythm->onsets,
                rhythm->onsets == 1 ? "" : "s");
    } else {
        say_add(opinion->reason, size, "%s at %.12s %zu times, every %.0f s +- %.0f %%", what, node,
                rhythm->onsets, rhythm->period_s, 100.0 * rhythm->spread);
    }
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    struct rhythm warm;
    struct rhythm electric;
    const struct disturbance *air = most_even(question, true, &warm);
    const struct disturbance *mains = most_even(question, false, &electric);
    size_t size = sizeof opinion->reason;
    if (!air) {
        say_add(opinion->reason, size, "no temperature changed");
        return;
    }
    say_rhythm(question, "temperature", air, &warm, opinion);
    double after_s = 0.0;
    if (mains) {
        after_s = (double)(air->onset_ns - mains->onset_ns) * 1e-9;
        say_rhythm(question, ", mains", mains, &electric, opinion);
        say_add(opinion->reason, size, ", %.0f s %s", fabs(after_s),
                after_s >= 0.0 ? "before it" : "after it");
    }
    size_t together = turned_together(question, air);
    size_t all = cause_nodes_having(question->site, QUANTITY_TEMPERATURE);
    say_add(opinion->reason, size, "; %zu of %zu nodes' air gently %s about then", together, all,
            air->peak_value < 0.0 ? "cooled" : "warmed");
    bool several = together >= LEAST_ROOMS && air->peak_value > 0.0;
    bool everywhere = together >= LEAST_ROOMS && 2 * together >= all;
    bool turns = (is_cycle(&warm) || (together >= LEAST_ROOMS && is_beginning(&warm))) &&
                 !falls_sharply(question->coincidence);
    bool follows = mains && after_s >= 0.0 && after_s <= FOLLOWS_S && is_cycle(&electric);
    opinion->fits = turns || follows || everywhere || several;
    opinion->likelihood = turns || follows ? 0.8 : everywhere ? ALL_LIKELIHOOD : SEVERAL_LIKELIHOOD;
    if (turns && (follows || everywhere)) {
        opinion->likelihood = 0.95;
    }
}

const struct cause_test cause_heating = {CAUSE_HEATING_CYCLE, judge};
