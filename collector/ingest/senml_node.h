/* A home-made node's SenML records -> blocks of the channels that the site file gives the node.
 * Must never change a digit, nor take a record whose unit is not the channel's. Used by the intake.
 */
#ifndef ROOMWAKE_COLLECTOR_INGEST_SENML_NODE_H
#define ROOMWAKE_COLLECTOR_INGEST_SENML_NODE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/block.h"
#include "common/error.h"
#include "common/senml.h"
#include "common/site.h"

/* The least uncertainty, 1 sigma, of a time that counts from the message's arrival: what a home
 * network may hold a message back (common practice, no source). */
#define SENML_ARRIVAL_SD_NS INT64_C(100000000)
/* A record that repeats one of this many before it in its channel is dropped. */
#define SENML_REMEMBERED 1024

struct senml_node;

/* `node` must outlive it. */
int senml_node_new(const struct site_node *node, struct senml_node **senml, struct error *error);
void senml_node_free(struct senml_node *senml);

/* What a pack became: blocks in site time. Pointers are valid until the next call. */
struct senml_batch {
    const struct block *blocks; /* in order: times after all that came before */
    size_t block_count;
    const struct block *late; /* older than what came before */
    size_t late_count;
    size_t repeated; /* records that came before, same time and value */
    size_t skipped;  /* records that are no channel of the node; the first of them: */
    char skipped_name[SENML_NAME_SIZE];
    bool from_arrival;
    int64_t first_ns; /* of `blocks` */
    int64_t last_ns;
    int64_t oldest_ns;   /* of `blocks` and `late` */
    int64_t clock_sd_ns; /* 1 sigma of the times in it */
};

/* Nothing is taken on failure. Records before floor_ns go to `late`. */
int senml_node_take(struct senml_node *senml, const char *json, size_t length, int64_t arrival_ns,
                    int64_t floor_ns, struct senml_batch *batch, struct error *error);

/* The channels with the steps that the first pack settled. */
const struct channel *senml_node_channels(const struct senml_node *senml, size_t *count);

#endif
