/* Distances between the site's nodes, worked out once each.
 * Must never outlive the site. Called by chain, path and chance. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_LAYOUT_H
#define ROOMWAKE_COLLECTOR_CORRELATE_LAYOUT_H

#include "common/error.h"
#include "common/site.h"

struct layout;

int layout_new(const struct site *site, struct layout **layout, struct error *error);
void layout_free(struct layout *layout);

const struct site *layout_site(const struct layout *layout);
double layout_straight_m(struct layout *layout, size_t a, size_t b);
/* Through doors; negative where none connect. */
double layout_walk_m(struct layout *layout, size_t a, size_t b);
/* Through doors where they connect, else straight. */
double layout_route_m(struct layout *layout, size_t a, size_t b);
/* The longest route from this node to any other. */
double layout_farthest_m(struct layout *layout, size_t node);

#endif
