/* How often each rank came over all slides, and how often something at or above it.
 * Must never be asked before it was closed. Used by slides.c. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_TALLY_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_TALLY_H

#include "collector/correlate/slides_rank.h"

/* One rank that came, and all that came at or above it. */
struct slides_rung {
    struct slides_rank rank;
    double rate_hz; /* of its class */
    uint64_t groups;
    uint64_t slides; /* that had at least one */
};

/* Caller-owned, start from {0}; slides_tally_free. */
struct slides_tally {
    uint64_t *groups; /* by class and step */
    uint64_t *bests;  /* slides whose best it was */
    bool any;         /* in the present slide */
    struct slides_rank best;
    struct slides_rung *rungs; /* the rarest first */
    size_t rung_count;
};

int slides_tally_init(struct slides_tally *tally, struct error *error);
void slides_tally_free(struct slides_tally *tally);
void slides_tally_count(struct slides_tally *tally, const struct slides_ranks *ranks,
                        const struct slides_rank *rank);
/* The present slide is over. */
void slides_tally_next(struct slides_tally *tally);
int slides_tally_close(struct slides_tally *tally, const struct slides_ranks *ranks,
                       struct error *error);
/* The last rung at or above the rank; NULL where nothing came so high. */
const struct slides_rung *slides_tally_find(const struct slides_tally *tally,
                                            const struct slides_ranks *ranks,
                                            const struct slides_rank *rank);

#endif
