/* A square table of distances, filled as they are asked for.
 * Must never do I/O. Called by chain, path and chance. */
#include "collector/correlate/layout.h"

#include <math.h>
#include <stdlib.h>

struct layout {
    const struct site *site;
    size_t count;
    double *straight_m; /* NaN until asked for */
    double *walk_m;
    double *farthest_m;
};

static double *table_new(size_t count)
{
    double *table = malloc((count ? count : 1) * sizeof *table);
    for (size_t i = 0; table && i < count; i++) {
        table[i] = NAN;
    }
    return table;
}

int layout_new(const struct site *site, struct layout **layout, struct error *error)
{
    struct layout *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "layout: out of memory");
    }
    made->site = site;
    made->count = site->node_count;
    made->straight_m = table_new(made->count * made->count);
    made->walk_m = table_new(made->count * made->count);
    made->farthest_m = table_new(made->count);
    if (!made->straight_m || !made->walk_m || !made->farthest_m) {
        layout_free(made);
        return error_set(error, ERROR_MEMORY, "layout: out of memory");
    }
    *layout = made;
    return 0;
}

void layout_free(struct layout *layout)
{
    if (layout) {
        free(layout->straight_m);
        free(layout->walk_m);
        free(layout->farthest_m);
        free(layout);
    }
}

const struct site *layout_site(const struct layout *layout)
{
    return layout->site;
}

double layout_straight_m(struct layout *layout, size_t a, size_t b)
{
    double *cell = &layout->straight_m[a * layout->count + b];
    if (isnan(*cell)) {
        *cell = site_node_distance_m(layout->site, a, b);
    }
    return *cell;
}

double layout_walk_m(struct layout *layout, size_t a, size_t b)
{
    double *cell = &layout->walk_m[a * layout->count + b];
    if (isnan(*cell)) {
        *cell = site_node_walk_m(layout->site, a, b);
    }
    return *cell;
}

double layout_route_m(struct layout *layout, size_t a, size_t b)
{
    double walk_m = layout_walk_m(layout, a, b);
    return walk_m >= 0.0 ? walk_m : layout_straight_m(layout, a, b);
}

double layout_farthest_m(struct layout *layout, size_t node)
{
    double *cell = &layout->farthest_m[node];
    if (isnan(*cell)) {
        double farthest_m = 0.0;
        for (size_t other = 0; other < layout->count; other++) {
            farthest_m = fmax(farthest_m, layout_route_m(layout, node, other));
        }
        *cell = farthest_m;
    }
    return *cell;
}
