/* How far all nodes are known: the data time before which no node can bring an earlier onset.
 * Must never go back, and never wait for a node that nobody waits for. Called by pipeline. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_MERGE_H
#define ROOMWAKE_COLLECTOR_PIPELINE_MERGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

/* Held back by this, since a new clock fit may put a node's next samples a little earlier than the
 * last one said. */
#define MERGE_MARGIN_NS INT64_C(30000000)

struct merge;

int merge_new(size_t node_count, struct merge **merge, struct error *error);
void merge_free(struct merge *merge);

/* The node has told all its onsets before horizon_ns; a lower one than before has no effect. */
void merge_set(struct merge *merge, uint32_t node, int64_t horizon_ns);
/* Whether the others wait for it; they do from the start, once it has been set. */
void merge_wait_for(struct merge *merge, uint32_t node, bool waited_for);

/* The least over the nodes that are waited for, less the margin; where none is waited for, as far
 * as any has come. INT64_MIN before the first. */
int64_t merge_horizon_ns(struct merge *merge);

#endif
