/* The earth's own field: the same slow deviation at all nodes alike, over minutes.
 * Must never take a field of one place for one of the whole earth. Called through causes.c.
 * Tens of nT within minutes on a lively day, up to 500 nT (Bartels 1939, from memory). */
#include "collector/correlate/cause.h"
#include "collector/correlate/cause_parts.h"
#include "collector/correlate/say.h"

#include <math.h>

/* Our choices. */
#define LEAST_NODES 3
#define ALIKE 1.5      /* highest peak over lowest */
#define SLOW_S 8.0     /* the longest lasts at least */
#define GENTLE 0.5     /* of the peak after the settling stretch at most */
#define HIGHEST_T 2e-6 /* a great storm */

static size_t nodes_with_field(const struct site *site)
{
    size_t nodes = 0;
    for (size_t i = 0; i < site->node_count; i++) {
        bool has = false;
        for (size_t j = 0; j < site->nodes[i].channel_count && !has; j++) {
            has = site->nodes[i].channels[j].quantity == QUANTITY_MAGNETIC;
        }
        nodes += has;
    }
    return nodes;
}

static void judge(const struct cause_case *question, struct cause_opinion *opinion)
{
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    size_t count = cause_strongest(question->coincidence, QUANTITY_MAGNETIC, BAND_REST, members);
    size_t all = nodes_with_field(question->site);
    double low = INFINITY;
    double high = 0.0;
    double longest_s = 0.0;
    size_t gentle = 0;
    for (size_t i = 0; i < count; i++) {
        double peak = fabs(members[i]->peak_value);
        low = fmin(low, peak);
        high = fmax(high, peak);
        longest_s = fmax(longest_s, cause_lasts_s(members[i], 0.0));
        gentle += fabs(members[i]->settle_step) <= GENTLE * peak;
    }
    size_t size = sizeof opinion->reason;
    if (count < 2) {
        say_add(opinion->reason, size, "the static field moved at %zu of %zu nodes", count, all);
        return;
    }
    char from[SAY_SIZE];
    char to[SAY_SIZE];
    say_value(low, members[0]->unit, from);
    say_value(high, members[0]->unit, to);
    say_add(opinion->reason, size,
            "field moved by %s to %s at %zu of %zu nodes, slowly at %zu, for up to %.0f s", from,
            to, count, all, gentle, longest_s);
    opinion->fits = count >= LEAST_NODES && 2 * count >= all && gentle == count &&
                    high <= ALIKE * low && high <= HIGHEST_T && longest_s >= SLOW_S;
    opinion->likelihood = all ? 0.4 + 0.5 * (double)count / (double)all : 0.0;
}

const struct cause_test cause_geomagnetic = {CAUSE_GEOMAGNETIC, false, judge};
