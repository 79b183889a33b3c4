/* The posterior of a change point with either a straight rise or a step after it, noise known, its
 * size evenly spread over all orders of magnitude (a plain Bayesian change point; our derivation).
 * Must never allocate. Called by watch_event. */
#include "collector/detect/rise.h"

#include <math.h>

#define GRID 4 /* beginnings tried between two samples */
#define COUNT_LEAST 3

/* What is summed up over all beginnings, weights relative to the best so far. */
struct posterior {
    double log_best;
    double sum, sum_back, sum_squares;
    double best_rest; /* chi-square of the best */
};

static void posterior_add(struct posterior *posterior, double back, double log_weight, double rest)
{
    if (log_weight > posterior->log_best) {
        double shrink = exp(posterior->log_best - log_weight);
        posterior->sum *= shrink;
        posterior->sum_back *= shrink;
        posterior->sum_squares *= shrink;
        posterior->log_best = log_weight;
        posterior->best_rest = rest;
    }
    double weight = exp(log_weight - posterior->log_best);
    posterior->sum += weight;
    posterior->sum_back += weight * back;
    posterior->sum_squares += weight * back * back;
}

/* xv, xx: sums of shape times value and of shape squared; the size is xv / xx. */
static void weigh(struct posterior *posterior, double back, double xv, double xx, double vv)
{
    if (xv > 0.0) {
        double rest = vv - xv * xv / xx;
        posterior_add(posterior, back, -0.5 * rest + 0.5 * log(xx) - log(xv), rest);
    }
}

bool rise_find(const double *values, size_t count, struct rise *rise)
{
    struct posterior posterior = {.log_best = -INFINITY};
    double vv = 0.0;
    for (size_t i = 0; i < count; i++) {
        vv += values[i] * values[i];
    }
    if (count < COUNT_LEAST) {
        return false;
    }
    for (size_t step = 0; step < (count - 1) * GRID; step++) {
        double back = ((double)step + 0.5) / GRID;
        size_t behind = (size_t)back + 1; /* samples after the beginning */
        double hinge_xv = 0.0, hinge_xx = 0.0, step_xv = 0.0;
        for (size_t k = 0; k < behind; k++) {
            double value = values[count - 1 - k];
            double since = back - (double)k;
            hinge_xv += since * value;
            hinge_xx += since * since;
            step_xv += value;
        }
        weigh(&posterior, back, hinge_xv, hinge_xx, vv);
        weigh(&posterior, back, step_xv, (double)behind, vv);
    }
    if (!(posterior.sum > 0.0)) {
        return false;
    }
    double mean = posterior.sum_back / posterior.sum;
    rise->back = mean;
    rise->sd = sqrt(fmax(0.0, posterior.sum_squares / posterior.sum - mean * mean));
    rise->misfit = posterior.best_rest / (double)count;
    return true;
}
