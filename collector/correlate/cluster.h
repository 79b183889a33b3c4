/* Disturbances that began within one prompt gate.
 * Must never hold two clusters' worth of one disturbance. Called by chain, judge and correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_CLUSTER_H
#define ROOMWAKE_COLLECTOR_CORRELATE_CLUSTER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/entry.h"
#include "common/error.h"

struct cluster {
    size_t count;
    size_t size;
    struct entry **members; /* as they joined; the first one opened the window */
    int64_t seal_ns;        /* nobody joins the window after this */
    int64_t gate_ns;        /* the widest gate that any of its pairs used */
};

/* A cluster opened by its first onset; `clock_sd_max_ns` is the worst clock known so far. NULL when
 * out of memory. Free with cluster_free. */
struct cluster *cluster_new(struct entry *first, int64_t clock_sd_max_ns);
/* Lets go of its members. */
void cluster_free(struct cluster *cluster);

/* Whether the onset lies within the gate of the cluster's first. */
bool cluster_takes(const struct cluster *cluster, const struct disturbance *disturbance);
int cluster_add(struct cluster *cluster, struct entry *entry, struct error *error);
/* Moves all members of `from` into `into` and frees `from`; on failure both stay. */
int cluster_merge(struct cluster *into, struct cluster *from, struct error *error);
/* Takes the motion members out into a cluster of their own: *motion. */
int cluster_split_motion(struct cluster *cluster, struct cluster **motion, struct error *error);

const struct disturbance *cluster_first(const struct cluster *cluster);
int64_t cluster_last_onset_ns(const struct cluster *cluster);
bool cluster_has_motion(const struct cluster *cluster);
/* Temperature and humidity alone. */
bool cluster_is_slow(const struct cluster *cluster);
bool cluster_has_slow(const struct cluster *cluster);
bool cluster_has_node(const struct cluster *cluster, uint32_t node);
/* Distinct nodes, of all members or of those that are not motion. */
size_t cluster_nodes(const struct cluster *cluster, bool still_only);
/* The member that says where and when a traveller was: the first motion, else the first onset. */
const struct disturbance *cluster_anchor(const struct cluster *cluster);
/* The node's first member; NULL if it has none. */
const struct disturbance *cluster_node_first(const struct cluster *cluster, uint32_t node);
/* Whether all have ended. */
bool cluster_ended(const struct cluster *cluster);

#endif
