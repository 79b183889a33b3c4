/* Members by node, durations, shapes.
 * Must never allocate. Used by the causes. */
#include "collector/correlate/cause_parts.h"

#include <math.h>
#include <stdlib.h>

/* A motion sensor answers within this of what whoever walks there carries. Our choice. */
#define SOMEBODY_S 3.0

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

size_t cause_around(const struct cause_case *question, enum quantity quantity, enum band band,
                    double before_s, double after_s, const struct disturbance **around)
{
    const struct coincidence *coincidence = question->coincidence;
    int64_t last_ns = coincidence->members[coincidence->member_count - 1].onset_ns;
    const struct disturbance *all[RECENT_MAX];
    size_t count = recent_between(rates_recent(question->rates),
                                  coincidence->start_ns - (int64_t)(before_s * 1e9),
                                  last_ns + (int64_t)(after_s * 1e9), all);
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (all[i]->quantity == quantity && all[i]->band == band) {
            around[kept++] = all[i];
        }
    }
    return kept;
}

size_t cause_nodes(const struct disturbance *const *members, size_t count)
{
    size_t nodes = 0;
    for (size_t i = 0; i < count; i++) {
        bool before = false;
        for (size_t j = 0; j < i && !before; j++) {
            before = members[j]->node == members[i]->node;
        }
        nodes += !before;
    }
    return nodes;
}

size_t cause_nodes_having(const struct site *site, enum quantity quantity)
{
    size_t nodes = 0;
    for (size_t i = 0; i < site->node_count; i++) {
        bool has = false;
        for (size_t j = 0; j < site->nodes[i].channel_count && !has; j++) {
            has = site->nodes[i].channels[j].quantity == quantity;
        }
        nodes += has;
    }
    return nodes;
}

double cause_over(const struct disturbance *member)
{
    return member->threshold > 0.0 ? fabs(member->peak_score) / member->threshold : 0.0;
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

double cause_turn(const struct disturbance *member)
{
    return member->along_score > 0.0 ? member->across_score / member->along_score : 0.0;
}

bool cause_turned_less(const struct disturbance *member, double part)
{
    return cause_turn(member) < part && member->across_least < part * member->along_score;
}

bool cause_somebody_there(const struct cause_case *question, const struct disturbance *member)
{
    const struct disturbance *around[RECENT_MAX];
    const struct site *site = question->site;
    size_t count =
        cause_around(question, QUANTITY_MOTION, BAND_REST, SOMEBODY_S, SOMEBODY_S, around);
    for (size_t i = 0; i < count; i++) {
        double from_s = (double)(around[i]->onset_ns - member->onset_ns) * 1e-9;
        double past_s = (double)(around[i]->onset_ns - member->end_ns) * 1e-9;
        bool past = member->end_ns != 0 && past_s > SOMEBODY_S;
        if (site->nodes[around[i]->node].room == site->nodes[member->node].room &&
            from_s >= -SOMEBODY_S && !past) {
            return true;
        }
    }
    return false;
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
