/* A way through rooms and doors at a steady speed: who or what is where at which time.
 * Must never know what travels: a person, a magnet and a draught take the same ways. */
#ifndef ROOMWAKE_NODE_WORLD_PATH_H
#define ROOMWAKE_NODE_WORLD_PATH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/site.h"

#define PATH_ROOMS_MAX 12
#define PATH_LEGS_MAX (2 * PATH_ROOMS_MAX)
/* The height of a storey that common/site.h states; world heights count from floor 0. */
#define PATH_STOREY_M 2.7
/* No room: an open stretch that no motion sensor watches. */
#define PATH_NO_ROOM SIZE_MAX

/* A straight stretch within one room. */
struct path_leg {
    size_t room;
    double from[3];
    double to[3];
    int64_t start_ns;
    int64_t end_ns;
};

/* Caller-owned plain value; at least one leg. */
struct path {
    size_t count;
    struct path_leg legs[PATH_LEGS_MAX];
};

/* The middle of a room at height_m above its floor, and a node's place, in world coordinates. */
void path_room_middle(const struct site *site, size_t room, double height_m, double at[3]);
void path_node_place(const struct site *site, size_t node, double at[3]);
/* The door between two rooms, or SIZE_MAX. */
size_t path_find_door(const struct site *site, size_t a, size_t b);

/* From the middle of the first room, through doors and the middles of the rooms between, to the
 * middle of the last; neighbours in the list must share a door. */
void path_through_rooms(const struct site *site, const size_t *rooms, size_t room_count,
                        double height_m, double speed_m_s, int64_t start_ns, struct path *path);
/* Along given points of no room; 2 to PATH_ROOMS_MAX of them. */
void path_along_points(const double (*points)[3], size_t point_count, double speed_m_s,
                       int64_t start_ns, struct path *path);

int64_t path_start_ns(const struct path *path);
int64_t path_end_ns(const struct path *path);
/* Where it is; before the start and after the end it stays at the ends. */
void path_place(const struct path *path, int64_t time_ns, double at[3]);
/* The time of closest approach to a point on the legs within `room` (PATH_NO_ROOM: on all legs);
 * false where no leg is in that room. */
bool path_closest(const struct path *path, size_t room, const double at[3], int64_t *time_ns,
                  double *distance_m);
/* The part of a leg within range_m of a point; false where there is none. */
bool path_leg_within(const struct path_leg *leg, const double at[3], double range_m,
                     int64_t *enter_ns, int64_t *leave_ns);

#endif
