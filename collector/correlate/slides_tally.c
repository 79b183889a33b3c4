/* Counts by rank, then sums from the rarest on.
 * Must never lose a count. Used by slides.c. */
#include "collector/correlate/slides_tally.h"

#include <stdlib.h>

#define CELLS ((size_t)RANK_CLASSES * RANK_STEPS)

int slides_tally_init(struct slides_tally *tally, struct error *error)
{
    tally->groups = calloc(CELLS, sizeof *tally->groups);
    tally->bests = calloc(CELLS, sizeof *tally->bests);
    if (!tally->groups || !tally->bests) {
        slides_tally_free(tally);
        return error_set(error, ERROR_MEMORY, "slides: out of memory");
    }
    return 0;
}

void slides_tally_free(struct slides_tally *tally)
{
    free(tally->groups);
    free(tally->bests);
    free(tally->rungs);
    *tally = (struct slides_tally){0};
}

static size_t cell_of(const struct slides_rank *rank)
{
    return (size_t)rank->class * RANK_STEPS + rank->step;
}

void slides_tally_count(struct slides_tally *tally, const struct slides_ranks *ranks,
                        const struct slides_rank *rank)
{
    tally->groups[cell_of(rank)]++;
    if (!tally->any || slides_rank_above(ranks, rank, &tally->best)) {
        tally->best = *rank;
        tally->any = true;
    }
}

void slides_tally_next(struct slides_tally *tally)
{
    if (tally->any) {
        tally->bests[cell_of(&tally->best)]++;
    }
    tally->any = false;
}

/* The order of slides_rank_above. */
static int by_rank(const void *a, const void *b)
{
    const struct slides_rung *left = a;
    const struct slides_rung *right = b;
    if (left->rate_hz < right->rate_hz || left->rate_hz > right->rate_hz) {
        return left->rate_hz < right->rate_hz ? -1 : 1;
    }
    if (left->rank.class != right->rank.class) {
        return left->rank.class > right->rank.class ? -1 : 1;
    }
    return (left->rank.step > right->rank.step) - (left->rank.step < right->rank.step);
}

int slides_tally_close(struct slides_tally *tally, const struct slides_ranks *ranks,
                       struct error *error)
{
    size_t count = 0;
    for (size_t cell = 0; cell < CELLS; cell++) {
        count += tally->groups[cell] > 0;
    }
    tally->rungs = calloc(count + 1, sizeof *tally->rungs);
    if (!tally->rungs) {
        return error_set(error, ERROR_MEMORY, "slides: out of memory");
    }
    for (size_t cell = 0; cell < CELLS; cell++) {
        if (tally->groups[cell] > 0) {
            unsigned class = (unsigned)(cell / RANK_STEPS);
            tally->rungs[tally->rung_count++] =
                (struct slides_rung){{class, (unsigned)(cell % RANK_STEPS)},
                                     ranks->rates_hz[class],
                                     tally->groups[cell],
                                     tally->bests[cell]};
        }
    }
    qsort(tally->rungs, count, sizeof *tally->rungs, by_rank);
    for (size_t i = 1; i < count; i++) {
        tally->rungs[i].groups += tally->rungs[i - 1].groups;
        tally->rungs[i].slides += tally->rungs[i - 1].slides;
    }
    return 0;
}

const struct slides_rung *slides_tally_find(const struct slides_tally *tally,
                                            const struct slides_ranks *ranks,
                                            const struct slides_rank *rank)
{
    size_t low = 0;
    size_t high = tally->rung_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (slides_rank_above(ranks, rank, &tally->rungs[middle].rank)) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    return low > 0 ? &tally->rungs[low - 1] : NULL;
}
