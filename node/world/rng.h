/* Seeded chance for the simulated building: a number is a function of a key and a counter.
 * Must never keep state: any node, in any process, at any time, finds the same numbers. */
#ifndef ROOMWAKE_NODE_WORLD_RNG_H
#define ROOMWAKE_NODE_WORLD_RNG_H

#include <stddef.h>
#include <stdint.h>

/* Keys for streams that don't overlap in practice: from a seed and two numbers, or from a text. */
uint64_t rng_key(uint64_t seed, uint64_t a, uint64_t b);
uint64_t rng_key_text(uint64_t seed, const char *text);

uint64_t rng_bits(uint64_t key, uint64_t counter);
/* Strictly between 0 and 1. */
double rng_uniform(uint64_t key, uint64_t counter);
/* Mean 0, standard deviation 1. */
double rng_gaussian(uint64_t key, uint64_t counter);
/* The normal quantile of p in (0, 1). */
double rng_normal_quantile(double p);
/* A smooth wander through x with features of length 1, standard deviation near 0.8. */
double rng_smooth(uint64_t key, double x);

/* out[i] += scale * rng_gaussian(key, first + i). */
void rng_add_gaussian(uint64_t key, uint64_t first, double scale, double *out, size_t count);

#endif
