/* Grouping by the strongest first.
 * Must never let a weak step found a group that a strong one would join. Called by record/compare.
 */
#include "collector/compare/appliance.h"

#include <math.h>
#include <stdbool.h>

static double length_of(const struct appliance_step *step)
{
    double sum = 0.0;
    for (size_t i = 0; i < APPLIANCE_NODES_MAX; i++) {
        sum += (double)step->at_node[i] * (double)step->at_node[i];
    }
    return sqrt(sum);
}

double appliance_unlike(const struct appliance_step *a, const struct appliance_step *b)
{
    const uint64_t common = a->nodes & b->nodes;
    double aa = 0.0;
    double bb = 0.0;
    double ab = 0.0;
    for (size_t i = 0; i < APPLIANCE_NODES_MAX; i++) {
        if (common >> i & 1) {
            aa += (double)a->at_node[i] * (double)a->at_node[i];
            bb += (double)b->at_node[i] * (double)b->at_node[i];
            ab += (double)a->at_node[i] * (double)b->at_node[i];
        }
    }
    double longer = fmax(aa, bb);
    return longer > 0.0 ? fmin(1.0, sqrt(fmax(0.0, aa + bb - 2.0 * fabs(ab)) / longer)) : 1.0;
}

size_t appliance_strongest(const struct appliance_step *step)
{
    size_t at = 0;
    for (size_t i = 1; i < APPLIANCE_NODES_MAX; i++) {
        at = fabsf(step->at_node[i]) > fabsf(step->at_node[at]) ? i : at;
    }
    return at;
}

/* The strongest that is in no group yet; false where there is none. */
static bool next_founder(const struct appliance_step *steps, size_t count, size_t *founder)
{
    double most = 0.0;
    for (size_t i = 0; i < count; i++) {
        double length = steps[i].group < 0 ? length_of(&steps[i]) : 0.0;
        if (length > most) {
            most = length;
            *founder = i;
        }
    }
    return most > 0.0;
}

size_t appliance_group(struct appliance_step *steps, size_t count)
{
    size_t groups = 0;
    size_t founder = 0;
    for (size_t i = 0; i < count; i++) {
        steps[i].group = -1;
    }
    while (next_founder(steps, count, &founder)) {
        steps[founder].group = (int)groups;
        for (size_t i = 0; i < count; i++) {
            if (steps[i].group < 0 && length_of(&steps[i]) > 0.0 &&
                appliance_unlike(&steps[founder], &steps[i]) < APPLIANCE_LIKE) {
                steps[i].group = (int)groups;
            }
        }
        groups++;
    }
    return groups;
}
