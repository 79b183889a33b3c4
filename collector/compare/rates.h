/* How often, with exact limits; whether one night stands out; whether there are more than chance
 * brings. Must never use a normal approximation. Pure; used by record/compare. */
#ifndef ROOMWAKE_COLLECTOR_COMPARE_RATES_H
#define ROOMWAKE_COLLECTOR_COMPARE_RATES_H

#include <stddef.h>
#include <stdint.h>

/* Rates are told per night of this length, as chances are. */
#define RATES_NIGHT_S 28800.0

struct rate {
    double per_night;
    double low; /* 95 %, Garwood 1936, Biometrika 28:437 */
    double high;
};
/* watched_s above 0. */
struct rate rates_of(uint64_t count, double watched_s);

/* P(X >= count) of a Poisson count of this mean. */
double rates_more(uint64_t count, double mean);

/* The night with most for the time watched, and in how many of such sets of nights chance alone has
 * some night stand out so far, at most: an exact binomial tail times the number of nights. 1 where
 * there is nothing to compare. */
double rates_busiest(const uint32_t *counts, const double *watched_s, size_t nights, size_t *which);

/* Each p-value as it counts among all `count` of them: Holm 1979, Scand. J. Statist. 6:65. */
#define RATES_HOLM_MAX 256
void rates_holm(double *p_values, size_t count);

#endif
