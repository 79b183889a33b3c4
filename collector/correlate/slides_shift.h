/* The shifts of time slides: each node's onsets turned round within each hour of its live time, by
 * an amount of its own, so that the hours keep their rates and no shared rhythm survives.
 * Must never leave two nodes unshifted against each other. Used by slides.c. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_SHIFT_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_SHIFT_H

#include <stddef.h>
#include <stdint.h>

#include "collector/correlate/away.h"
#include "collector/correlate/slides_group.h"

/* Onsets stay within a stretch of about this length. */
#define SLIDES_STRETCH_NS INT64_C(3600000000000)

/* A stretch of one node's live time; its onsets are `indices[first]` to `first + count`. */
struct slides_stretch {
    size_t node;
    size_t number; /* of the stretch in the night, alike for all nodes */
    int64_t start_ns;
    int64_t length_ns;
    int64_t live_ns; /* of its length, what counts */
    size_t first;
    size_t count;
};

/* Caller-owned, start from {0}; free with slides_shift_free. */
struct slides_shift {
    size_t nodes;
    size_t onset_count;
    size_t numbers;
    size_t stretch_count;
    struct slides_stretch *stretches;
    uint32_t *indices; /* onsets, by stretch */
    double *fractions; /* by number and node */
    size_t *slots;
    struct slides_item *unsorted;
    uint32_t *buckets;
    size_t bucket_count;
    int64_t start_ns;
    int64_t end_ns;
    const struct away_list *const *away; /* by place */
    uint64_t random;
};

/* `nodes` counts the nodes in places; live_from_ns and away (which must outlive the shift) are by
 * place. */
int slides_shift_init(struct slides_shift *shift, const struct slides_place *places, size_t count,
                      size_t nodes, const int64_t *live_from_ns,
                      const struct away_list *const *away, int64_t end_ns, struct error *error);
void slides_shift_free(struct slides_shift *shift);
/* The next slide: items in order of their shifted time. */
void slides_shift_next(struct slides_shift *shift, const struct slides_place *places,
                       struct slides_item *items);

#endif
