/* A person as the sensors find one: what a motion sensor makes of passing through its view, and
 * footsteps. Must never know of scripts or worlds: a path and a place in, edges out. */
#ifndef ROOMWAKE_NODE_WORLD_PEOPLE_H
#define ROOMWAKE_NODE_WORLD_PEOPLE_H

#include <stddef.h>
#include <stdint.h>

#include "node/world/path.h"

/* A stretch during which a sensor would answer; a false pulse has leave_ns = enter_ns. */
struct people_view {
    int64_t enter_ns;
    int64_t leave_ns;
};

struct people_edge {
    int64_t time_ns;
    int32_t level; /* 0 or 1 */
};

/* The stretches of a path within range_m of a sensor in `room` (walls hide the rest); at most
 * PATH_LEGS_MAX, touching ones joined. Returns how many. */
size_t people_views(const struct path *path, size_t room, const double at[3], double range_m,
                    struct people_view views[PATH_LEGS_MAX]);

/* Pyroelectric module as sold (held after the last motion, then blind; figures vary by
 * maker, common practice, no source): views in order of enter_ns -> edges, up to 2 a view. The
 * output rises when it sees motion, falls hold_ns after the last, then is blind for blind_ns.
 * `edges` has room for 2 * count. Returns how many; they alternate 1, 0, 1 ... */
size_t people_motion_edges(const struct people_view *views, size_t count, int64_t hold_ns,
                           int64_t blind_ns, struct people_edge *edges);

/* Floor vibration from walking, m/s2, distance_m from the walker, since_s after the walk began:
 * a damped 25 Hz knock 1.9 times a second (a usual step rate; common practice, no source). */
double people_footstep_m_s2(double since_s, double distance_m);

#endif
