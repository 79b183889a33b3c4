/* Poisson and binomial tails, from where they are already summed.
 * Must never forget how many were looked at. Called by record/compare. */
#include "collector/compare/rates.h"

#include <math.h>

#include "collector/correlate/poisson.h"
#include "collector/questions/exact.h"

#define CONFIDENCE 0.95

struct rate rates_of(uint64_t count, double watched_s)
{
    struct rate rate;
    const double nights = watched_s / RATES_NIGHT_S;
    poisson_limits(count, CONFIDENCE, &rate.low, &rate.high);
    rate.per_night = (double)count / nights;
    rate.low /= nights;
    rate.high /= nights;
    return rate;
}

/* P(X <= k - 1) is Q(k, mean): Abramowitz & Stegun 1964, 26.4.21. */
double rates_more(uint64_t count, double mean)
{
    if (count == 0) {
        return 1.0;
    }
    return mean > 0.0 ? fmax(0.0, 1.0 - poisson_gamma_upper((double)count, mean)) : 0.0;
}

double rates_busiest(const uint32_t *counts, const double *watched_s, size_t nights, size_t *which)
{
    double all_s = 0.0;
    uint32_t all = 0;
    double least = 1.0;
    *which = 0;
    for (size_t i = 0; i < nights; i++) {
        all_s += watched_s[i];
        all += counts[i];
    }
    for (size_t i = 0; all > 0 && i < nights; i++) {
        double p = exact_binomial_more(counts[i], all, watched_s[i] / all_s);
        if (p < least) {
            least = p;
            *which = i;
        }
    }
    return fmin(1.0, least * (double)nights);
}

void rates_holm(double *p_values, size_t count)
{
    size_t order[RATES_HOLM_MAX];
    count = count < RATES_HOLM_MAX ? count : RATES_HOLM_MAX;
    for (size_t i = 0; i < count; i++) { /* by insertion: there are few */
        size_t at = i;
        for (; at > 0 && p_values[order[at - 1]] > p_values[i]; at--) {
            order[at] = order[at - 1];
        }
        order[at] = i;
    }
    double most = 0.0;
    for (size_t i = 0; i < count; i++) {
        most = fmax(most, fmin(1.0, p_values[order[i]] * (double)(count - i)));
        p_values[order[i]] = most;
    }
}
