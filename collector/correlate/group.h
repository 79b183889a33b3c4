/* Clusters that belong together: one prompt cluster, or the elements of a travelling chain.
 * Must never forget when it has to be told. Called by chain, judge and correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_GROUP_H
#define ROOMWAKE_COLLECTOR_CORRELATE_GROUP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/cluster.h"
#include "common/error.h"

/* A coincidence becomes final at the latest this long after its last onset. */
#define GROUP_LONGEST_NS INT64_C(120000000000)
/* How long after it grew a chain is told: motion sensors answer late. */
#define GROUP_CHAIN_TELL_NS INT64_C(2000000000)

struct group {
    int64_t serial; /* in the order in which groups began */
    int64_t id;     /* of the coincidence; 0 before it was recognised */
    bool core;      /* at least two nodes without counting motion: prompt, never part of a chain */
    size_t count;
    size_t size;
    struct cluster **elements; /* owned, in order of time */
    int64_t tell_ns;           /* to be told early at this data time; INT64_MAX for not */
    int64_t join_until_ns;     /* nothing joins after this */
    int64_t last_onset_ns;
    bool coincidence; /* at least two nodes took part */
    bool ended;
    int64_t ended_ns; /* data time at which the last member's end was known */
};

/* Takes the cluster; NULL when out of memory (the cluster stays the caller's). */
struct group *group_new(int64_t serial, struct cluster *cluster, bool core);
void group_free(struct group *group);
/* Appends an element, which it then owns. */
int group_append(struct group *group, struct cluster *cluster, struct error *error);
/* After any change of members at data time now_ns: when to tell, and how long others may join. */
void group_changed(struct group *group, int64_t now_ns, int64_t join_until_ns);
/* One of its members may have ended at now_ns. */
void group_member_ended(struct group *group, const struct entry *entry, int64_t now_ns);

size_t group_member_count(const struct group *group);
/* Data time at which it becomes final. */
int64_t group_final_ns(const struct group *group);
/* The earlier of being told and becoming final. */
int64_t group_due_ns(const struct group *group);

#endif
