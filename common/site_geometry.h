/* Points, outlines and ways through doors, in metres.
 * Must never read a file or change a site. Used by site_check.c and by who needs a distance;
 * site_node_distance_m and site_node_walk_m are declared in site.h. */
#ifndef ROOMWAKE_COMMON_SITE_GEOMETRY_H
#define ROOMWAKE_COMMON_SITE_GEOMETRY_H

#include <stdbool.h>

#include "common/site.h"

#define SITE_STOREY_M 2.7 /* a usual storey: common practice, no source */

/* Whether a point lies in the room or within margin_m of its outline. */
bool site_room_holds(const struct site_room *room, const double point_m[2], double margin_m);
/* The point of the outline that is nearest; returns how far that is. */
double site_room_nearest(const struct site_room *room, const double point_m[2],
                         double nearest_m[2]);
/* The area with the sign of the outline's sense of turning. */
double site_room_area_m2(const struct site_room *room);
/* Whether two edges that are not neighbours touch or cross. */
bool site_room_crosses_itself(const struct site_room *room);

#endif
