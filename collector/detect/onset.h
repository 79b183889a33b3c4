/* When it began: the sample at which the run before and the run after are best told apart.
 * Must never look further back than asked. Called by watch once the trigger has fired. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_ONSET_H
#define ROOMWAKE_COLLECTOR_DETECT_ONSET_H

#include <stdbool.h>
#include <stddef.h>

/* Maeda's AIC(k) = k ln var(x[0:k]) + (n-k-1) ln var(x[k:n]), population variances, times `dims`
 * with the axes' variances summed. Filled for 2 <= k <= n-2, +INFINITY elsewhere and where a
 * variance is not above var_floor = 0; with var_floor > 0 variances are held at it. `curve` holds
 * n. */
void onset_curve(const double *const x[], size_t dims, size_t n, double var_floor, double *curve);

struct onset_pick {
    size_t index;      /* of the first sample that belongs to the disturbance */
    double sd_samples; /* from the curve's sharpness: exp(-AIC/2) is the relative likelihood */
};

/* The best k in [low, high]; false where there is none. `curve` is scratch of n. */
bool onset_find(const double *const x[], size_t dims, size_t n, size_t low, size_t high,
                double var_floor, double *curve, struct onset_pick *pick);

#endif
