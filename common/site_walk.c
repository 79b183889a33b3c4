/* How far two nodes are apart, through the air and through the doors (Dijkstra, 1959).
 * Must never go through a wall or a floor without a door.
 * Called by the correlator's gates and by the report. */
#include "common/site_geometry.h"

#include <math.h>
#include <stdlib.h>

static double flat_m(const double a[2], const double b[2])
{
    return hypot(a[0] - b[0], a[1] - b[1]);
}

static double climb_m(const struct site *site, size_t room_a, size_t room_b)
{
    return SITE_STOREY_M * abs(site->rooms[room_a].floor - site->rooms[room_b].floor);
}

double site_node_distance_m(const struct site *site, size_t a, size_t b)
{
    const struct site_node *from = &site->nodes[a];
    const struct site_node *to = &site->nodes[b];
    double up = from->position_m[2] - to->position_m[2] +
                SITE_STOREY_M * (site->rooms[from->room].floor - site->rooms[to->room].floor);
    return hypot(flat_m(from->position_m, to->position_m), up);
}

static bool opens_into(const struct site_door *door, size_t room)
{
    return door->rooms[0] == room || door->rooms[1] == room;
}

static bool share_room(const struct site_door *a, const struct site_door *b)
{
    return opens_into(b, a->rooms[0]) || opens_into(b, a->rooms[1]);
}

/* The nearest door not yet settled, or SITE_DOORS_MAX where none can be reached. */
static size_t next_door(const struct site *site, const double *way_m, const bool *settled)
{
    size_t nearest = SITE_DOORS_MAX;
    for (size_t i = 0; i < site->door_count; i++) {
        if (!settled[i] && way_m[i] < INFINITY &&
            (nearest == SITE_DOORS_MAX || way_m[i] < way_m[nearest])) {
            nearest = i;
        }
    }
    return nearest;
}

/* way_m[i]: the shortest way from a node through door i, its climb included. */
static void walk_to_doors(const struct site *site, const struct site_node *from, double *way_m)
{
    bool settled[SITE_DOORS_MAX] = {false};
    for (size_t i = 0; i < site->door_count; i++) {
        const struct site_door *door = &site->doors[i];
        way_m[i] = opens_into(door, from->room) ? flat_m(from->position_m, door->at_m) +
                                                      climb_m(site, door->rooms[0], door->rooms[1])
                                                : INFINITY;
    }
    for (size_t at = next_door(site, way_m, settled); at < SITE_DOORS_MAX;
         at = next_door(site, way_m, settled)) {
        settled[at] = true;
        for (size_t i = 0; i < site->door_count; i++) {
            const struct site_door *door = &site->doors[i];
            if (!settled[i] && share_room(&site->doors[at], door)) {
                double way = way_m[at] + flat_m(site->doors[at].at_m, door->at_m) +
                             climb_m(site, door->rooms[0], door->rooms[1]);
                way_m[i] = fmin(way_m[i], way);
            }
        }
    }
}

double site_node_walk_m(const struct site *site, size_t a, size_t b)
{
    const struct site_node *from = &site->nodes[a];
    const struct site_node *to = &site->nodes[b];
    double straight_m = site_node_distance_m(site, a, b);
    if (from->room == to->room) {
        return straight_m;
    }
    double way_m[SITE_DOORS_MAX] = {0};
    walk_to_doors(site, from, way_m);
    double shortest = INFINITY;
    for (size_t i = 0; i < site->door_count; i++) {
        if (opens_into(&site->doors[i], to->room)) {
            shortest = fmin(shortest, way_m[i] + flat_m(site->doors[i].at_m, to->position_m));
        }
    }
    /* The floor plan knows no height within a room; a way is never shorter than the straight one.
     */
    return shortest < INFINITY ? fmax(shortest, straight_m) : -1;
}
