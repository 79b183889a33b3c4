/* What lies inside an outline, how far its edge is, whether it is sound.
 * Must never decide what an error is: that is site_check.c's.
 * Called by site_check.c. */
#include "common/site_geometry.h"

#include <math.h>

static const double *corner(const struct site_room *room, size_t index)
{
    return room->outline_m[index % room->corner_count];
}

static double nearest_on_edge(const double a[2], const double b[2], const double point_m[2],
                              double nearest_m[2])
{
    double dx = b[0] - a[0];
    double dy = b[1] - a[1];
    double squared = dx * dx + dy * dy;
    double along = 0;
    if (squared > 0) {
        along = ((point_m[0] - a[0]) * dx + (point_m[1] - a[1]) * dy) / squared;
    }
    along = fmin(fmax(along, 0), 1);
    nearest_m[0] = a[0] + along * dx;
    nearest_m[1] = a[1] + along * dy;
    return hypot(point_m[0] - nearest_m[0], point_m[1] - nearest_m[1]);
}

double site_room_nearest(const struct site_room *room, const double point_m[2], double nearest_m[2])
{
    double least = INFINITY;
    for (size_t i = 0; i < room->corner_count; i++) {
        double here[2];
        double distance = nearest_on_edge(corner(room, i), corner(room, i + 1), point_m, here);
        if (distance < least) {
            least = distance;
            nearest_m[0] = here[0];
            nearest_m[1] = here[1];
        }
    }
    return least;
}

/* Even-odd rule: a ray to the right crosses the outline an odd number of times. */
static bool inside(const struct site_room *room, const double point_m[2])
{
    bool odd = false;
    for (size_t i = 0; i < room->corner_count; i++) {
        const double *a = corner(room, i);
        const double *b = corner(room, i + 1);
        if ((a[1] > point_m[1]) == (b[1] > point_m[1])) {
            continue;
        }
        double x = a[0] + (point_m[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
        if (point_m[0] < x) {
            odd = !odd;
        }
    }
    return odd;
}

bool site_room_holds(const struct site_room *room, const double point_m[2], double margin_m)
{
    double nearest_m[2];
    return inside(room, point_m) || site_room_nearest(room, point_m, nearest_m) <= margin_m;
}

double site_room_area_m2(const struct site_room *room)
{
    double twice = 0;
    for (size_t i = 0; i < room->corner_count; i++) {
        const double *a = corner(room, i);
        const double *b = corner(room, i + 1);
        twice += a[0] * b[1] - b[0] * a[1];
    }
    return twice / 2;
}

static double turn(const double a[2], const double b[2], const double c[2])
{
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

static bool within_box(const double a[2], const double b[2], const double point[2])
{
    return point[0] >= fmin(a[0], b[0]) && point[0] <= fmax(a[0], b[0]) &&
           point[1] >= fmin(a[1], b[1]) && point[1] <= fmax(a[1], b[1]);
}

static bool edges_touch(const double a[2], const double b[2], const double c[2], const double d[2])
{
    double abc = turn(a, b, c);
    double abd = turn(a, b, d);
    double cda = turn(c, d, a);
    double cdb = turn(c, d, b);
    if (((abc > 0 && abd < 0) || (abc < 0 && abd > 0)) &&
        ((cda > 0 && cdb < 0) || (cda < 0 && cdb > 0))) {
        return true;
    }
    return (abc == 0 && within_box(a, b, c)) || (abd == 0 && within_box(a, b, d)) ||
           (cda == 0 && within_box(c, d, a)) || (cdb == 0 && within_box(c, d, b));
}

bool site_room_crosses_itself(const struct site_room *room)
{
    size_t count = room->corner_count;
    for (size_t i = 0; i < count; i++) {
        for (size_t j = i + 2; j < count; j++) {
            bool neighbours = i == 0 && j == count - 1;
            if (!neighbours && edges_touch(corner(room, i), corner(room, i + 1), corner(room, j),
                                           corner(room, j + 1))) {
                return true;
            }
        }
    }
    return false;
}
