/* Seeded numbers for the calibration tests, one after the other. */
#ifndef ROOMWAKE_TESTS_CALIBRATE_DRAW_H
#define ROOMWAKE_TESTS_CALIBRATE_DRAW_H

#include "node/world/rng.h"

struct draw {
    uint64_t key;
    uint64_t next;
};

static inline struct draw draw_from(uint64_t seed)
{
    return (struct draw){rng_key(seed, 1, 2), 0};
}

static inline double draw_uniform(struct draw *draw)
{
    return rng_uniform(draw->key, draw->next++);
}

static inline double draw_normal(struct draw *draw)
{
    return rng_gaussian(draw->key, draw->next++);
}

#endif
