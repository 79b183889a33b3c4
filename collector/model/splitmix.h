/* Random numbers from a seed, the same on every machine: splitmix64 (Steele, Lea and Flood 2014,
 * Fast Splittable Pseudorandom Number Generators, OOPSLA). Must never be used for a secret. Used by
 * time slides and by the comparison of nights. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_SPLITMIX_H
#define ROOMWAKE_COLLECTOR_MODEL_SPLITMIX_H

#include <stdint.h>

/* 2^64 over the golden ratio: its step, and as good a seed as any. */
#define SPLITMIX_STEP UINT64_C(0x9e3779b97f4a7c15)

static inline uint64_t splitmix_bits(uint64_t *state)
{
    uint64_t bits = *state += SPLITMIX_STEP;
    bits = (bits ^ (bits >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    bits = (bits ^ (bits >> 27)) * UINT64_C(0x94d049bb133111eb);
    return bits ^ (bits >> 31);
}

/* Evenly in [0, 1). */
static inline double splitmix_part(uint64_t *state)
{
    return (double)(splitmix_bits(state) >> 11) * 0x1p-53;
}

#endif
