/* Where a sealed cluster goes. Echo first, then the best agreeing chain, else a group of its own.
 * Must never depend on anything but what the groups hold. Called by correlator. */
#include "collector/correlate/chain.h"

#include <stdlib.h>
#include <string.h>

#include "collector/correlate/gate.h"
#include "collector/correlate/hop.h"

/* Until when something can still join: an echo, and for a chain one more hop. */
static void changed(struct chain_book *book, struct group *group, int64_t now_ns)
{
    int64_t until_ns = now_ns + CHAIN_ECHO_NS + GATE_WIDEST_NS;
    if (!group->core) {
        const struct cluster *last = group->elements[group->count - 1];
        int64_t hop_ns = hop_join_until_ns(book->layout, last);
        until_ns = now_ns + CHAIN_ECHO_MOTION_NS + GATE_WIDEST_NS;
        until_ns = hop_ns > until_ns ? hop_ns : until_ns;
    }
    group_changed(group, now_ns, until_ns);
}

static int begin(struct chain_book *book, struct cluster *cluster, bool core, int64_t now_ns,
                 struct error *error)
{
    if (book->count == book->size) {
        size_t size = book->size ? book->size * 2 : 16;
        struct group **groups = realloc(book->groups, size * sizeof(struct group *));
        if (!groups) {
            cluster_free(cluster);
            return error_set(error, ERROR_MEMORY, "correlator: out of memory for a group");
        }
        book->groups = groups;
        book->size = size;
    }
    struct group *group = group_new(book->last_serial + 1, cluster, core);
    if (!group) {
        cluster_free(cluster);
        return error_set(error, ERROR_MEMORY, "correlator: out of memory for a group");
    }
    book->last_serial++;
    book->groups[book->count++] = group;
    changed(book, group, now_ns);
    return 0;
}

static int64_t apart(int64_t a_ns, int64_t b_ns)
{
    return a_ns > b_ns ? a_ns - b_ns : b_ns - a_ns;
}

static bool all_nodes_in(const struct cluster *cluster, const struct cluster *home)
{
    for (size_t i = 0; i < cluster->count; i++) {
        if (!cluster_has_node(home, cluster->members[i]->opened.node)) {
            return false;
        }
    }
    return true;
}

/* Whether `cluster` is a further answer of the same nodes to what `home` holds; *gap_ns how far
 * from it. A prompt coincidence takes no motion: that is somebody who walks there. */
static bool is_echo(const struct group *group, const struct cluster *home,
                    const struct cluster *cluster, int64_t *gap_ns)
{
    bool motion = cluster_has_motion(cluster);
    bool many = cluster_nodes(cluster, false) > 1;
    if ((group->core && motion) || (!group->core && many) || !all_nodes_in(cluster, home)) {
        return false;
    }
    const struct disturbance *first = cluster_first(cluster);
    const struct disturbance *own = cluster_node_first(home, first->node);
    bool person = !group->core && (motion || cluster_has_motion(home));
    *gap_ns = apart(first->onset_ns, own->onset_ns);
    return *gap_ns <= (person ? CHAIN_ECHO_MOTION_NS : CHAIN_ECHO_NS);
}

static struct cluster *find_echo(const struct chain_book *book, const struct cluster *cluster,
                                 int64_t now_ns, struct group **group)
{
    struct cluster *best = NULL;
    int64_t best_gap_ns = INT64_MAX;
    for (size_t i = 0; i < book->count; i++) {
        struct group *candidate = book->groups[i];
        for (size_t j = 0; j < candidate->count && now_ns <= candidate->join_until_ns; j++) {
            int64_t gap_ns = 0;
            if (is_echo(candidate, candidate->elements[j], cluster, &gap_ns) &&
                gap_ns < best_gap_ns) {
                best = candidate->elements[j];
                best_gap_ns = gap_ns;
                *group = candidate;
            }
        }
    }
    return best;
}

static struct group *find_chain(const struct chain_book *book, const struct cluster *cluster,
                                int64_t now_ns, bool like_only)
{
    struct group *best = NULL;
    struct hop_merit best_merit = {0};
    for (size_t i = 0; i < book->count; i++) {
        struct hop_merit merit;
        if (now_ns <= book->groups[i]->join_until_ns &&
            hop_possible(book->layout, book->groups[i], cluster, &merit) &&
            !(like_only && merit.unlike) && (!best || hop_better(&merit, &best_merit))) {
            best = book->groups[i];
            best_merit = merit;
        }
    }
    return best;
}

static int extend(struct chain_book *book, struct group *group, struct cluster *cluster,
                  int64_t now_ns, struct error *error)
{
    if (group_append(group, cluster, error)) {
        cluster_free(cluster);
        return -1;
    }
    changed(book, group, now_ns);
    return 0;
}

/* Motion that fell into a prompt cluster's window belongs to the walk that leads there, if any. */
static int release_walker(struct chain_book *book, struct cluster *cluster, int64_t now_ns,
                          struct error *error)
{
    struct cluster *motion = NULL;
    if (!cluster_has_motion(cluster)) {
        return 0;
    }
    if (cluster_split_motion(cluster, &motion, error)) {
        return -1;
    }
    struct group *chain = find_chain(book, motion, now_ns, true);
    if (chain) {
        return extend(book, chain, motion, now_ns, error);
    }
    if (cluster_merge(cluster, motion, error)) {
        cluster_free(motion);
        return -1;
    }
    return 0;
}

int chain_place(struct chain_book *book, struct cluster *cluster, int64_t now_ns,
                struct error *error)
{
    bool core = cluster_nodes(cluster, true) > 1;
    if (core && release_walker(book, cluster, now_ns, error)) {
        cluster_free(cluster);
        return -1;
    }
    struct group *group = NULL;
    struct cluster *home = find_echo(book, cluster, now_ns, &group);
    if (home) {
        if (cluster_merge(home, cluster, error)) {
            cluster_free(cluster);
            return -1;
        }
        changed(book, group, now_ns);
        return 0;
    }
    group = core ? NULL : find_chain(book, cluster, now_ns, false);
    return group ? extend(book, group, cluster, now_ns, error)
                 : begin(book, cluster, core, now_ns, error);
}

void chain_book_drop(struct chain_book *book, size_t index)
{
    group_free(book->groups[index]);
    book->count--;
    memmove(&book->groups[index], &book->groups[index + 1],
            (book->count - index) * sizeof(struct group *));
}

void chain_book_free(struct chain_book *book)
{
    while (book->count > 0) {
        chain_book_drop(book, book->count - 1);
    }
    free(book->groups);
    book->groups = NULL;
    book->size = 0;
}
