/* From places and times to a path through rooms and a speed with its 95 % interval.
 * Must never name a room in which nothing was seen. Called by judge and by cause_walking. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_PATH_H
#define ROOMWAKE_COLLECTOR_CORRELATE_PATH_H

#include <stddef.h>
#include <stdint.h>

#include "collector/model/coincidence.h"
#include "common/site.h"

/* A sensor answers when the traveller is within about a metre of it: uniform over +-1 m. */
#define PATH_RANGE_SD_M 0.57735

/* Where and when the traveller was seen. */
struct path_point {
    uint32_t node;
    int64_t time_ns;
    int64_t time_sd_ns;
};

/* Rooms in order of time, one step for each change of room. At most `size` steps; returns how many.
 */
size_t path_trace(const struct site *site, const struct path_point *points, size_t count,
                  struct path_step *steps, size_t size);

/* Weighted straight line of time over the distance walked (through doors where they connect).
 * Unknown for fewer than two points, no distance, or a line that doesn't rise. */
void path_fit_speed(const struct site *site, const struct path_point *points, size_t count,
                    struct speed *speed);

#endif
