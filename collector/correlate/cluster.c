/* A window's members and the questions that are asked of them.
 * Must never reorder by address. Called by chain, judge and correlator. */
#include "collector/correlate/cluster.h"

#include <stdlib.h>

#include "collector/correlate/gate.h"
#include "collector/correlate/witness.h"

static bool reserve(struct cluster *cluster, size_t more)
{
    if (cluster->count + more <= cluster->size) {
        return true;
    }
    size_t size = (cluster->count + more) * 2;
    struct entry **members = realloc(cluster->members, size * sizeof(struct entry *));
    if (!members) {
        return false;
    }
    cluster->members = members;
    cluster->size = size;
    return true;
}

struct cluster *cluster_new(struct entry *first, int64_t clock_sd_max_ns)
{
    struct cluster *cluster = calloc(1, sizeof *cluster);
    if (!cluster || !reserve(cluster, 4)) {
        free(cluster);
        return NULL;
    }
    cluster->members[cluster->count++] = first;
    first->holders++;
    cluster->gate_ns = gate_prompt_ns(first->opened.clock_sd_ns, 0);
    cluster->seal_ns =
        first->opened.onset_ns + gate_prompt_ns(first->opened.clock_sd_ns, clock_sd_max_ns);
    return cluster;
}

void cluster_free(struct cluster *cluster)
{
    if (!cluster) {
        return;
    }
    for (size_t i = 0; i < cluster->count; i++) {
        cluster->members[i]->holders--;
    }
    free(cluster->members);
    free(cluster);
}

bool cluster_takes(const struct cluster *cluster, const struct disturbance *disturbance)
{
    const struct disturbance *first = &cluster->members[0]->opened;
    int64_t gate_ns = gate_prompt_ns(first->clock_sd_ns, disturbance->clock_sd_ns);
    return disturbance->onset_ns - first->onset_ns <= gate_ns;
}

int cluster_add(struct cluster *cluster, struct entry *entry, struct error *error)
{
    if (!reserve(cluster, 1)) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a cluster");
    }
    int64_t gate_ns =
        gate_prompt_ns(cluster->members[0]->opened.clock_sd_ns, entry->opened.clock_sd_ns);
    if (gate_ns > cluster->gate_ns) {
        cluster->gate_ns = gate_ns;
    }
    cluster->members[cluster->count++] = entry;
    entry->holders++;
    return 0;
}

int cluster_merge(struct cluster *into, struct cluster *from, struct error *error)
{
    if (!reserve(into, from->count)) {
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a cluster");
    }
    for (size_t i = 0; i < from->count; i++) {
        into->members[into->count++] = from->members[i];
    }
    from->count = 0;
    cluster_free(from);
    return 0;
}

static bool is_motion(const struct entry *entry)
{
    return entry->opened.quantity == QUANTITY_MOTION;
}

int cluster_split_motion(struct cluster *cluster, struct cluster **motion, struct error *error)
{
    struct cluster *made = calloc(1, sizeof *made);
    if (!made || !reserve(made, cluster->count)) {
        free(made);
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a cluster");
    }
    size_t kept = 0;
    for (size_t i = 0; i < cluster->count; i++) {
        struct entry *entry = cluster->members[i];
        struct cluster *side = is_motion(entry) ? made : cluster;
        side->members[is_motion(entry) ? made->count++ : kept++] = entry;
    }
    cluster->count = kept;
    made->seal_ns = cluster->seal_ns;
    made->gate_ns = cluster->gate_ns;
    *motion = made;
    return 0;
}

static const struct disturbance *earlier(const struct disturbance *a, const struct disturbance *b)
{
    return !a || witness_compare(b, a) < 0 ? b : a;
}

const struct disturbance *cluster_first(const struct cluster *cluster)
{
    const struct disturbance *first = NULL;
    for (size_t i = 0; i < cluster->count; i++) {
        first = earlier(first, &cluster->members[i]->opened);
    }
    return first;
}

int64_t cluster_last_onset_ns(const struct cluster *cluster)
{
    int64_t last = cluster->members[0]->opened.onset_ns;
    for (size_t i = 1; i < cluster->count; i++) {
        int64_t onset = cluster->members[i]->opened.onset_ns;
        last = onset > last ? onset : last;
    }
    return last;
}

bool cluster_has_motion(const struct cluster *cluster)
{
    for (size_t i = 0; i < cluster->count; i++) {
        if (is_motion(cluster->members[i])) {
            return true;
        }
    }
    return false;
}

bool cluster_is_slow(const struct cluster *cluster)
{
    for (size_t i = 0; i < cluster->count; i++) {
        if (!witness_is_slow(cluster->members[i]->opened.quantity)) {
            return false;
        }
    }
    return true;
}

bool cluster_has_slow(const struct cluster *cluster)
{
    for (size_t i = 0; i < cluster->count; i++) {
        if (witness_is_slow(cluster->members[i]->opened.quantity)) {
            return true;
        }
    }
    return false;
}

bool cluster_has_node(const struct cluster *cluster, uint32_t node)
{
    return cluster_node_first(cluster, node) != NULL;
}

size_t cluster_nodes(const struct cluster *cluster, bool still_only)
{
    size_t nodes = 0;
    for (size_t i = 0; i < cluster->count; i++) {
        bool counted = still_only && is_motion(cluster->members[i]);
        for (size_t j = 0; j < i && !counted; j++) {
            counted = cluster->members[j]->opened.node == cluster->members[i]->opened.node &&
                      !(still_only && is_motion(cluster->members[j]));
        }
        nodes += counted ? 0 : 1;
    }
    return nodes;
}

const struct disturbance *cluster_anchor(const struct cluster *cluster)
{
    const struct disturbance *motion = NULL;
    for (size_t i = 0; i < cluster->count; i++) {
        if (is_motion(cluster->members[i])) {
            motion = earlier(motion, &cluster->members[i]->opened);
        }
    }
    return motion ? motion : cluster_first(cluster);
}

const struct disturbance *cluster_node_first(const struct cluster *cluster, uint32_t node)
{
    const struct disturbance *first = NULL;
    for (size_t i = 0; i < cluster->count; i++) {
        if (cluster->members[i]->opened.node == node) {
            first = earlier(first, &cluster->members[i]->opened);
        }
    }
    return first;
}

bool cluster_ended(const struct cluster *cluster)
{
    for (size_t i = 0; i < cluster->count; i++) {
        if (!cluster->members[i]->ended) {
            return false;
        }
    }
    return true;
}
