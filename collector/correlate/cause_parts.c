/* Members by node, durations, shapes.
 * Must never allocate. Used by the causes. */
#include "collector/correlate/cause_parts.h"

#include <math.h>
#include <stdlib.h>

size_t cause_strongest(const struct coincidence *coincidence, enum quantity quantity,
                       enum band band, const struct disturbance **members)
{
    size_t count = 0;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (member->quantity != quantity || member->band != band) {
            continue;
        }
        size_t at = 0;
        while (at < count && members[at]->node != member->node) {
            at++;
        }
        if (at == count) {
            members[count++] = member;
        } else if (fabs(member->peak_score) > fabs(members[at]->peak_score)) {
            members[at] = member;
        }
    }
    return count;
}

const struct disturbance *cause_top(const struct disturbance *const *members, size_t count)
{
    const struct disturbance *top = NULL;
    for (size_t i = 0; i < count; i++) {
        if (!top || fabs(members[i]->peak_score) > fabs(top->peak_score)) {
            top = members[i];
        }
    }
    return top;
}

double cause_lasts_s(const struct disturbance *member, double lasting)
{
    return member->end_ns ? (double)(member->end_ns - member->onset_ns) * 1e-9 : lasting;
}

double cause_level_share(const struct disturbance *member)
{
    double peak = fabs(member->settle_peak_score) * member->baseline_scale;
    return peak > 0.0 ? fabs(member->settle_step) / peak : 0.0;
}

static int by_time(const void *a, const void *b)
{
    const struct path_point *left = a;
    const struct path_point *right = b;
    if (left->time_ns != right->time_ns) {
        return left->time_ns < right->time_ns ? -1 : 1;
    }
    return (left->node > right->node) - (left->node < right->node);
}

void cause_speed(const struct site *site, struct path_point *points, size_t count,
                 struct speed *speed)
{
    qsort(points, count, sizeof points[0], by_time);
    path_fit_speed(site, points, count, speed);
}
