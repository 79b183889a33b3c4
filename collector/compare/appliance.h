/* Which mains switchings look like one and the same appliance: the same steps at the same nodes.
 * Must never say which appliance: it has no name for any. Pure; used by record/compare. */
#ifndef ROOMWAKE_COLLECTOR_COMPARE_APPLIANCE_H
#define ROOMWAKE_COLLECTOR_COMPARE_APPLIANCE_H

#include <stddef.h>
#include <stdint.h>

#define APPLIANCE_NODES_MAX 64
/* Steps are one appliance's where they differ by less than this part of the larger, on or off
 * alike: what we hold for the scatter of a step over noise; no source. */
#define APPLIANCE_LIKE 0.25

/* A switching: the change of the mains amplitude at each node, in T; 0 where a node did not see it.
 */
struct appliance_step {
    float at_node[APPLIANCE_NODES_MAX];
    uint64_t nodes;      /* a bit for each that watched: only those in common are compared */
    uint64_t calibrated; /* a bit for each whose tesla was checked */
    int group;           /* filled: from 0, -1 for a step of nothing */
};

/* Fills the groups: the strongest step takes all that are like it, then the strongest of those that
 * are left, and so on. Returns how many groups there are. */
size_t appliance_group(struct appliance_step *steps, size_t count);
/* How unlike two are: the length of the difference over the longer of the two, over nodes in
 * common, with the sign that suits; 0 for the same, 1 where they have nothing in common. */
double appliance_unlike(const struct appliance_step *a, const struct appliance_step *b);
/* The place of the largest step. */
size_t appliance_strongest(const struct appliance_step *step);

#endif
