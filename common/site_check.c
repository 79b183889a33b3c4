/* The checks between the fields of a site, each fault by its path.
 * Must never change the site, nor pass one that breaks a rule of the contract.
 * Called by site.c after reading, and by who changes a site in memory. */
#include "common/site_check.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "common/site_geometry.h"

#define NODE_MARGIN_M 0.01
#define DOOR_MARGIN_M 0.5
#define AREA_LEAST_M2 0.01

static int check_outline(const struct site_room *room, size_t index, struct error *error)
{
    if (room->corner_count < 3 || room->corner_count > SITE_OUTLINE_MAX) {
        return error_set(error, ERROR_RANGE, "rooms[%zu].outline_m: %zu corners, 3 to %d needed",
                         index, room->corner_count, SITE_OUTLINE_MAX);
    }
    for (size_t i = 0; i < room->corner_count; i++) {
        const double *here = room->outline_m[i];
        const double *next = room->outline_m[(i + 1) % room->corner_count];
        if (here[0] == next[0] && here[1] == next[1]) {
            return error_set(error, ERROR_RANGE,
                             "rooms[%zu].outline_m[%zu]: the next corner is at the same place",
                             index, i);
        }
    }
    if (fabs(site_room_area_m2(room)) < AREA_LEAST_M2) {
        return error_set(error, ERROR_RANGE, "rooms[%zu].outline_m: holds no area", index);
    }
    if (site_room_crosses_itself(room)) {
        return error_set(error, ERROR_RANGE, "rooms[%zu].outline_m: crosses itself", index);
    }
    return 0;
}

static int check_rooms(const struct site *site, struct error *error)
{
    for (size_t i = 0; i < site->room_count; i++) {
        size_t first = site_find_room(site, site->rooms[i].id);
        if (first != i) {
            return error_set(error, ERROR_FORMAT, "rooms[%zu].id: \"%s\" is rooms[%zu]'s already",
                             i, site->rooms[i].id, first);
        }
        if (check_outline(&site->rooms[i], i, error) != 0) {
            return -1;
        }
    }
    return 0;
}

/* Two rooms of one floor: the door lies at both outlines, and they at each other. */
static bool touch_at(const struct site_room *a, const struct site_room *b, const double at_m[2])
{
    double near_a[2];
    double near_b[2];
    return site_room_nearest(a, at_m, near_a) <= DOOR_MARGIN_M + NODE_MARGIN_M &&
           site_room_nearest(b, at_m, near_b) <= DOOR_MARGIN_M + NODE_MARGIN_M &&
           hypot(near_a[0] - near_b[0], near_a[1] - near_b[1]) <= DOOR_MARGIN_M + NODE_MARGIN_M;
}

static bool stair_at(const struct site_room *a, const struct site_room *b, const double at_m[2])
{
    return site_room_holds(a, at_m, DOOR_MARGIN_M + NODE_MARGIN_M) &&
           site_room_holds(b, at_m, DOOR_MARGIN_M + NODE_MARGIN_M);
}

static int check_door(const struct site *site, size_t index, struct error *error)
{
    const struct site_door *door = &site->doors[index];
    if (door->rooms[0] == door->rooms[1]) {
        return error_set(error, ERROR_RANGE, "doors[%zu].between: twice the same room", index);
    }
    const struct site_room *a = &site->rooms[door->rooms[0]];
    const struct site_room *b = &site->rooms[door->rooms[1]];
    if (a->floor - b->floor > 1 || b->floor - a->floor > 1) {
        return error_set(error, ERROR_RANGE,
                         "doors[%zu].between: \"%s\" and \"%s\" are more than one floor apart",
                         index, a->id, b->id);
    }
    bool good = a->floor == b->floor ? touch_at(a, b, door->at_m) : stair_at(a, b, door->at_m);
    if (!good) {
        return error_set(error, ERROR_RANGE,
                         "doors[%zu].at_m: rooms \"%s\" and \"%s\" don't touch there", index, a->id,
                         b->id);
    }
    return 0;
}

/* Axes of one quantity are one vector: sampled together and in one unit. */
static int check_pair(const struct channel *channel, const struct channel *other, const char *path,
                      struct error *error)
{
    if (strcmp(channel->name, other->name) == 0) {
        return error_set(error, ERROR_FORMAT, "%s.name: \"%s\" is there twice", path,
                         channel->name);
    }
    char quantity[IDENT_SIZE];
    char other_quantity[IDENT_SIZE];
    char axis[IDENT_SIZE];
    channel_name_split(channel->name, quantity, axis);
    channel_name_split(other->name, other_quantity, axis);
    if (strcmp(quantity, other_quantity) != 0) {
        return 0;
    }
    if (channel->period_ps != other->period_ps) {
        return error_set(error, ERROR_RANGE,
                         "%s.rate_hz: %g, but %s has %g: all axes of %s need one rate", path,
                         channel->rate_hz, other->name, other->rate_hz, quantity);
    }
    if (strcmp(channel->unit, other->unit) != 0) {
        return error_set(error, ERROR_RANGE, "%s.unit: \"%s\", but %s has \"%s\"", path,
                         channel->unit, other->name, other->unit);
    }
    return 0;
}

static int check_channel(const struct site_node *node, size_t node_index, size_t index,
                         struct error *error)
{
    const struct channel *channel = &node->channels[index];
    char path[64];
    (void)snprintf(path, sizeof path, "nodes[%zu].channels[%zu]", node_index, index);
    if (!quantity_unit_valid(channel->quantity, channel->unit)) {
        return error_set(error, ERROR_RANGE, "%s.unit: \"%s\" is not for %s", path, channel->unit,
                         channel->name);
    }
    for (size_t i = 0; i < index; i++) {
        if (check_pair(channel, &node->channels[i], path, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int check_node(const struct site *site, size_t index, struct error *error)
{
    const struct site_node *node = &site->nodes[index];
    const struct site_room *room = &site->rooms[node->room];
    if (!site_room_holds(room, node->position_m, NODE_MARGIN_M)) {
        return error_set(error, ERROR_RANGE, "nodes[%zu].position_m: outside room \"%s\"", index,
                         room->id);
    }
    for (size_t i = 0; i < node->channel_count; i++) {
        if (check_channel(node, index, i, error) != 0) {
            return -1;
        }
    }
    return 0;
}

int site_check(const struct site *site, struct error *error)
{
    if (check_rooms(site, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < site->door_count; i++) {
        if (check_door(site, i, error) != 0) {
            return -1;
        }
    }
    for (size_t i = 0; i < site->node_count; i++) {
        size_t first = site_find_node(site, site->nodes[i].id);
        if (first != i) {
            return error_set(error, ERROR_FORMAT, "nodes[%zu].id: \"%s\" is nodes[%zu]'s already",
                             i, site->nodes[i].id, first);
        }
        if (check_node(site, i, error) != 0) {
            return -1;
        }
    }
    return 0;
}
