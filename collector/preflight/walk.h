/* The walk test: the team walks the rooms in a told order, each node ticks itself off by what it
 * sees, and the order that was found is held to the order that was walked. Pure: must never wait or
 * read a clock. Fed with disturbances by the walk's runner. */
#ifndef ROOMWAKE_COLLECTOR_PREFLIGHT_WALK_H
#define ROOMWAKE_COLLECTOR_PREFLIGHT_WALK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/disturbance.h"
#include "common/error.h"
#include "common/site.h"
#include "common/text.h"

#define WALK_SAW_SIZE 160

struct walk_node {
    bool expected;   /* in a room of the way */
    int64_t seen_ns; /* what it is ticked off by: motion where it has a sensor for it; 0: not yet */
    char saw[WALK_SAW_SIZE];
};

struct walk;

/* `rooms`: indices in the site, in the order in which they are walked, each once. What has an onset
 * before from_ns is none of it. ERROR_USAGE names a room twice or without a node. `site` must
 * outlive the walk. */
int walk_new(const struct site *site, const size_t *rooms, size_t count, int64_t from_ns,
             struct walk **walk, struct error *error);
void walk_free(struct walk *walk);

/* Whether a node is ticked off by it. */
bool walk_take(struct walk *walk, const struct disturbance *disturbance);
const struct walk_node *walk_get_node(const struct walk *walk, uint32_t node);
bool walk_is_done(const struct walk *walk);

/* Whether the order found is the order walked and all were seen; the outcome in sentences. */
bool walk_report(const struct walk *walk, struct text *out);

#endif
