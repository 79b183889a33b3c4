/* Ways through rooms and doors at a steady speed.
 * Must never know what travels. Called by the world (walkers, magnets, draughts) and the tests. */
#include "node/world/path.h"

#include <math.h>
#include <string.h>

#include "common/clock.h"
#include "node/world/field.h"

/* The centroid of a polygon by its corners' cross products. */
static void outline_middle(const struct site_room *room, double middle[2])
{
    double area = 0.0;
    middle[0] = 0.0;
    middle[1] = 0.0;
    for (size_t i = 0; i < room->corner_count; i++) {
        const double *a = room->outline_m[i];
        const double *b = room->outline_m[(i + 1) % room->corner_count];
        double cross = a[0] * b[1] - b[0] * a[1];
        area += cross;
        middle[0] += (a[0] + b[0]) * cross;
        middle[1] += (a[1] + b[1]) * cross;
    }
    middle[0] /= 3.0 * area;
    middle[1] /= 3.0 * area;
}

void path_room_middle(const struct site *site, size_t room, double height_m, double at[3])
{
    outline_middle(&site->rooms[room], at);
    at[2] = site->rooms[room].floor * PATH_STOREY_M + height_m;
}

void path_node_place(const struct site *site, size_t node, double at[3])
{
    const struct site_node *entry = &site->nodes[node];
    memcpy(at, entry->position_m, sizeof entry->position_m);
    at[2] += site->rooms[entry->room].floor * PATH_STOREY_M;
}

size_t path_find_door(const struct site *site, size_t a, size_t b)
{
    for (size_t i = 0; i < site->door_count; i++) {
        const size_t *rooms = site->doors[i].rooms;
        if ((rooms[0] == a && rooms[1] == b) || (rooms[0] == b && rooms[1] == a)) {
            return i;
        }
    }
    return SIZE_MAX;
}

static void add_leg(struct path *path, size_t room, const double from[3], const double to[3],
                    double speed_m_s, int64_t start_ns)
{
    struct path_leg *leg = &path->legs[path->count];
    leg->room = room;
    memcpy(leg->from, from, sizeof leg->from);
    memcpy(leg->to, to, sizeof leg->to);
    leg->start_ns = path->count ? path->legs[path->count - 1].end_ns : start_ns;
    leg->end_ns = leg->start_ns + llround(vec_distance(from, to) / speed_m_s * (double)NS_PER_S);
    path->count++;
}

void path_through_rooms(const struct site *site, const size_t *rooms, size_t room_count,
                        double height_m, double speed_m_s, int64_t start_ns, struct path *path)
{
    path->count = 0;
    double at[3];
    path_room_middle(site, rooms[0], height_m, at);
    for (size_t i = 0; i + 1 < room_count; i++) {
        const struct site_door *door = &site->doors[path_find_door(site, rooms[i], rooms[i + 1])];
        double door_here[3] = {door->at_m[0], door->at_m[1], at[2]};
        add_leg(path, rooms[i], at, door_here, speed_m_s, start_ns);
        path_room_middle(site, rooms[i + 1], height_m, at);
        double door_there[3] = {door->at_m[0], door->at_m[1], at[2]};
        add_leg(path, rooms[i + 1], door_there, at, speed_m_s, start_ns);
    }
    if (path->count == 0) {
        add_leg(path, rooms[0], at, at, speed_m_s, start_ns);
    }
}

void path_along_points(const double (*points)[3], size_t point_count, double speed_m_s,
                       int64_t start_ns, struct path *path)
{
    path->count = 0;
    for (size_t i = 0; i + 1 < point_count; i++) {
        add_leg(path, PATH_NO_ROOM, points[i], points[i + 1], speed_m_s, start_ns);
    }
}

int64_t path_start_ns(const struct path *path)
{
    return path->legs[0].start_ns;
}

int64_t path_end_ns(const struct path *path)
{
    return path->legs[path->count - 1].end_ns;
}

static double leg_part(const struct path_leg *leg, int64_t time_ns)
{
    if (leg->end_ns <= leg->start_ns) {
        return 0.0;
    }
    double part = (double)(time_ns - leg->start_ns) / (double)(leg->end_ns - leg->start_ns);
    return fmin(fmax(part, 0.0), 1.0);
}

static void leg_place(const struct path_leg *leg, double part, double at[3])
{
    for (int i = 0; i < 3; i++) {
        at[i] = leg->from[i] + (leg->to[i] - leg->from[i]) * part;
    }
}

void path_place(const struct path *path, int64_t time_ns, double at[3])
{
    size_t i = 0;
    while (i + 1 < path->count && time_ns >= path->legs[i].end_ns) {
        i++;
    }
    leg_place(&path->legs[i], leg_part(&path->legs[i], time_ns), at);
}

/* The part (0 to 1) of a leg that is closest to a point. */
static double leg_closest(const struct path_leg *leg, const double at[3])
{
    double along[3];
    double to_point[3];
    for (int i = 0; i < 3; i++) {
        along[i] = leg->to[i] - leg->from[i];
        to_point[i] = at[i] - leg->from[i];
    }
    double square = vec_dot(along, along);
    return square > 0.0 ? fmin(fmax(vec_dot(to_point, along) / square, 0.0), 1.0) : 0.0;
}

static int64_t leg_time_ns(const struct path_leg *leg, double part)
{
    return leg->start_ns + llround(part * (double)(leg->end_ns - leg->start_ns));
}

bool path_closest(const struct path *path, size_t room, const double at[3], int64_t *time_ns,
                  double *distance_m)
{
    bool found = false;
    for (size_t i = 0; i < path->count; i++) {
        const struct path_leg *leg = &path->legs[i];
        if (room != PATH_NO_ROOM && leg->room != room) {
            continue;
        }
        double part = leg_closest(leg, at);
        double place[3];
        leg_place(leg, part, place);
        double distance = vec_distance(place, at);
        if (!found || distance < *distance_m) {
            *distance_m = distance;
            *time_ns = leg_time_ns(leg, part);
            found = true;
        }
    }
    return found;
}

bool path_leg_within(const struct path_leg *leg, const double at[3], double range_m,
                     int64_t *enter_ns, int64_t *leave_ns)
{
    double closest = leg_closest(leg, at);
    double place[3];
    leg_place(leg, closest, place);
    double length = vec_distance(leg->from, leg->to);
    if (vec_distance(place, at) > range_m || length <= 0.0) {
        return false;
    }
    /* The foot of the perpendicular on the leg's whole line, then half a chord to both sides. */
    double foot = 0.0;
    for (int i = 0; i < 3; i++) {
        foot += (at[i] - leg->from[i]) * (leg->to[i] - leg->from[i]) / (length * length);
    }
    leg_place(leg, foot, place);
    double off = vec_distance(place, at);
    double half = sqrt(fmax(range_m * range_m - off * off, 0.0)) / length;
    *enter_ns = leg_time_ns(leg, fmax(foot - half, 0.0));
    *leave_ns = leg_time_ns(leg, fmin(foot + half, 1.0));
    return true;
}
