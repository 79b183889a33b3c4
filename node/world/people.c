/* Motion sensors and footsteps.
 * Must never know of scripts or worlds. Called by felt.c, sampler_fast.c and the tests. */
#include "node/world/people.h"

#include <math.h>

#define TWO_PI 6.28318530717958647692
#define STEPS_HZ 1.9
#define KNOCK_HZ 25.0
#define KNOCK_LAG_S 0.05
#define KNOCK_M_S2 0.15

size_t people_views(const struct path *path, size_t room, const double at[3], double range_m,
                    struct people_view views[PATH_LEGS_MAX])
{
    size_t count = 0;
    for (size_t i = 0; i < path->count; i++) {
        struct people_view view;
        if (path->legs[i].room != room ||
            !path_leg_within(&path->legs[i], at, range_m, &view.enter_ns, &view.leave_ns)) {
            continue;
        }
        if (count && view.enter_ns <= views[count - 1].leave_ns) {
            views[count - 1].leave_ns = view.leave_ns;
        } else {
            views[count++] = view;
        }
    }
    return count;
}

size_t people_motion_edges(const struct people_view *views, size_t count, int64_t hold_ns,
                           int64_t blind_ns, struct people_edge *edges)
{
    size_t edge_count = 0;
    int64_t off_ns = INT64_MIN; /* while the output is high: when it will fall */
    int64_t blind_until = INT64_MIN;
    for (size_t i = 0; i < count; i++) {
        int64_t rise_ns = views[i].enter_ns;
        if (off_ns != INT64_MIN && rise_ns <= off_ns) {
            if (views[i].leave_ns + hold_ns > off_ns) {
                off_ns = views[i].leave_ns + hold_ns;
            }
            continue;
        }
        if (off_ns != INT64_MIN) {
            edges[edge_count++] = (struct people_edge){.time_ns = off_ns, .level = 0};
            blind_until = off_ns + blind_ns;
            off_ns = INT64_MIN;
        }
        if (rise_ns < blind_until) {
            rise_ns = blind_until;
        }
        if (rise_ns <= views[i].leave_ns) {
            edges[edge_count++] = (struct people_edge){.time_ns = rise_ns, .level = 1};
            off_ns = views[i].leave_ns + (hold_ns > 0 ? hold_ns : 1);
        }
    }
    if (off_ns != INT64_MIN) {
        edges[edge_count++] = (struct people_edge){.time_ns = off_ns, .level = 0};
    }
    return edge_count;
}

double people_footstep_m_s2(double since_s, double distance_m)
{
    if (since_s < 0.0) {
        return 0.0;
    }
    double in_step = fmod(since_s, 1.0 / STEPS_HZ);
    return KNOCK_M_S2 / (1.0 + distance_m * distance_m) * exp(-in_step / KNOCK_LAG_S) *
           sin(TWO_PI * KNOCK_HZ * in_step);
}
