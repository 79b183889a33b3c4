/* Onset by the AIC of two runs (Maeda 1985, Zisin 38, 365-379), with its own uncertainty.
 * Must never look further back than asked. Called by watch once the trigger has fired.
 */
#include "collector/detect/onset.h"

#include <math.h>

#include "collector/detect/vector.h"

/* Welford's running variance of all axes together. */
struct running {
    double mean[VECTOR_AXES_MAX];
    double squares;
    size_t count;
};

static double running_add(struct running *running, const double *const x[], size_t dims, size_t i)
{
    running->count++;
    for (size_t a = 0; a < dims; a++) {
        double off = x[a][i] - running->mean[a];
        running->mean[a] += off / (double)running->count;
        running->squares += off * (x[a][i] - running->mean[a]);
    }
    return running->squares / (double)running->count;
}

static double log_variance(double variance, double var_floor)
{
    if (var_floor > 0.0) {
        return log(fmax(variance, var_floor));
    }
    return variance > 0.0 ? log(variance) : INFINITY;
}

void onset_curve(const double *const x[], size_t dims, size_t n, double var_floor, double *curve)
{
    struct running before = {.count = 0};
    for (size_t i = 0; i < n; i++) {
        size_t k = i + 1;
        double variance = running_add(&before, x, dims, i);
        if (k < n) {
            curve[k] = k >= 2 ? (double)k * log_variance(variance, var_floor) : INFINITY;
        }
    }
    if (n > 0) {
        curve[0] = INFINITY;
    }
    struct running after = {.count = 0};
    for (size_t k = n; k-- > 0;) {
        double variance = running_add(&after, x, dims, k);
        if (n - k < 2) {
            curve[k] = INFINITY;
        } else {
            curve[k] += (double)(n - k - 1) * log_variance(variance, var_floor);
            curve[k] *= (double)dims;
        }
    }
}

bool onset_find(const double *const x[], size_t dims, size_t n, size_t low, size_t high,
                double var_floor, double *curve, struct onset_pick *pick)
{
    onset_curve(x, dims, n, var_floor, curve);
    size_t best = n;
    for (size_t k = low; k <= high && k < n; k++) {
        if (!isinf(curve[k]) && (best == n || curve[k] < curve[best])) {
            best = k;
        }
    }
    if (best == n) {
        return false;
    }
    double weights = 0.0;
    double squares = 0.0;
    for (size_t k = low; k <= high && k < n; k++) {
        double weight = exp(-0.5 * (curve[k] - curve[best]));
        double off = (double)k - (double)best;
        weights += weight;
        squares += weight * off * off;
    }
    pick->index = best;
    pick->sd_samples = sqrt(squares / weights);
    return true;
}
