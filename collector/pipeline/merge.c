/* The least of the nodes' horizons, never going back.
 * Must never judge which node is late: ingest says so. Called by pipeline. */
#include "collector/pipeline/merge.h"

#include <stdlib.h>

struct place {
    int64_t horizon_ns; /* INT64_MIN: never set */
    bool ignored;
};

struct merge {
    size_t count;
    struct place *places;
    int64_t horizon_ns;
};

int merge_new(size_t node_count, struct merge **merge, struct error *error)
{
    struct merge *made = calloc(1, sizeof *made);
    if (made) {
        made->places = calloc(node_count ? node_count : 1, sizeof *made->places);
    }
    if (!made || !made->places) {
        free(made);
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    made->count = node_count;
    made->horizon_ns = INT64_MIN;
    for (size_t i = 0; i < node_count; i++) {
        made->places[i].horizon_ns = INT64_MIN;
    }
    *merge = made;
    return 0;
}

void merge_free(struct merge *merge)
{
    if (merge) {
        free(merge->places);
        free(merge);
    }
}

void merge_set(struct merge *merge, uint32_t node, int64_t horizon_ns)
{
    if (horizon_ns > merge->places[node].horizon_ns) {
        merge->places[node].horizon_ns = horizon_ns;
    }
}

void merge_wait_for(struct merge *merge, uint32_t node, bool waited_for)
{
    merge->places[node].ignored = !waited_for;
}

int64_t merge_horizon_ns(struct merge *merge)
{
    int64_t least_ns = INT64_MAX;
    int64_t most_ns = INT64_MIN;
    for (size_t i = 0; i < merge->count; i++) {
        const struct place *place = &merge->places[i];
        if (place->horizon_ns == INT64_MIN) {
            continue;
        }
        most_ns = place->horizon_ns > most_ns ? place->horizon_ns : most_ns;
        if (!place->ignored && place->horizon_ns < least_ns) {
            least_ns = place->horizon_ns;
        }
    }
    int64_t common_ns = least_ns == INT64_MAX ? most_ns : least_ns;
    if (common_ns > INT64_MIN + MERGE_MARGIN_NS &&
        common_ns - MERGE_MARGIN_NS > merge->horizon_ns) {
        merge->horizon_ns = common_ns - MERGE_MARGIN_NS;
    }
    return merge->horizon_ns;
}
