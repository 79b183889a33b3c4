/* Bookkeeping of a group's elements and deadlines.
 * Must never judge: it only knows when. Called by chain, judge and correlator. */
#include "collector/correlate/group.h"

#include <stdlib.h>

#include "collector/correlate/limits.h"

struct group *group_new(int64_t serial, struct cluster *cluster, bool core)
{
    struct group *group = calloc(1, sizeof *group);
    if (!group) {
        return NULL;
    }
    group->serial = serial;
    group->core = core;
    group->tell_ns = INT64_MAX;
    if (group_append(group, cluster, NULL)) {
        free(group);
        return NULL;
    }
    return group;
}

void group_free(struct group *group)
{
    if (!group) {
        return;
    }
    for (size_t i = 0; i < group->count; i++) {
        cluster_free(group->elements[i]);
    }
    free(group->elements);
    free(group);
}

int group_append(struct group *group, struct cluster *cluster, struct error *error)
{
    if (group->count == group->size) {
        size_t size = group->size ? group->size * 2 : 2;
        struct cluster **elements = realloc(group->elements, size * sizeof(struct cluster *));
        if (!elements) {
            return error_set(error, ERROR_MEMORY, "correlator: out of memory for a chain");
        }
        group->elements = elements;
        group->size = size;
    }
    group->elements[group->count++] = cluster;
    return 0;
}

static bool all_ended(const struct group *group)
{
    for (size_t i = 0; i < group->count; i++) {
        if (!cluster_ended(group->elements[i])) {
            return false;
        }
    }
    return true;
}

/* A prompt coincidence of quick quantities need not wait; motion may yet turn out to be a walk. */
static bool told_early(const struct group *group)
{
    if (group->core) {
        return !cluster_has_motion(group->elements[0]) && !cluster_has_slow(group->elements[0]);
    }
    return group->count > 1;
}

void group_changed(struct group *group, int64_t now_ns, int64_t join_until_ns)
{
    for (size_t i = 0; i < group->count; i++) {
        int64_t last_ns = cluster_last_onset_ns(group->elements[i]);
        if (last_ns > group->last_onset_ns || (i == 0 && group->last_onset_ns == 0)) {
            group->last_onset_ns = last_ns;
        }
    }
    int64_t latest_ns = group->last_onset_ns + GROUP_LONGEST_NS;
    group->join_until_ns = join_until_ns < latest_ns ? join_until_ns : latest_ns;
    group->coincidence = group->count > 1 || cluster_nodes(group->elements[0], false) > 1;
    group->ended = all_ended(group);
    group->ended_ns = now_ns;
    if (group->coincidence && (group->id || told_early(group))) {
        /* Members come with what was seen in their settling time already. */
        group->tell_ns = now_ns + (group->core ? 0 : GROUP_CHAIN_TELL_NS);
    }
}

static bool holds(const struct group *group, const struct entry *entry)
{
    for (size_t i = 0; i < group->count; i++) {
        const struct cluster *cluster = group->elements[i];
        for (size_t j = 0; j < cluster->count; j++) {
            if (cluster->members[j] == entry) {
                return true;
            }
        }
    }
    return false;
}

void group_member_ended(struct group *group, const struct entry *entry, int64_t now_ns)
{
    if (!group->ended && holds(group, entry)) {
        group->ended = all_ended(group);
        group->ended_ns = now_ns;
    }
}

size_t group_member_count(const struct group *group)
{
    size_t count = 0;
    for (size_t i = 0; i < group->count; i++) {
        count += group->elements[i]->count;
    }
    return count;
}

int64_t group_final_ns(const struct group *group)
{
    /* A lone node's group is no finding: it goes as soon as nothing can join. */
    if (!group->coincidence) {
        return group->join_until_ns;
    }
    if (!group->ended) {
        return group->last_onset_ns + GROUP_LONGEST_NS;
    }
    return group->ended_ns > group->join_until_ns ? group->ended_ns : group->join_until_ns;
}

int64_t group_due_ns(const struct group *group)
{
    int64_t final_ns = group_final_ns(group);
    return group->tell_ns < final_ns ? group->tell_ns : final_ns;
}
