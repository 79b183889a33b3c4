/* Weighted nonlinear least squares from several starts, with the outcome checked.
 * Must never believe the minimiser's own return code: a flat spot ends it as well as a minimum
 * does. Called by place and the checks. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_FIT_H
#define ROOMWAKE_COLLECTOR_CORRELATE_FIT_H

#include <stdbool.h>
#include <stddef.h>

#define FIT_PARAMETERS_MAX 5
#define FIT_RESIDUALS_MAX 64

/* Parameters should be of the order of their `scale`. Nothing is owned. */
struct fit_problem {
    void *context;
    /* Residuals in units of their sigma. */
    void (*residuals)(void *context, const double *parameters, double *residuals);
    size_t residual_count;
    size_t parameter_count;
    const double *scale; /* by parameter: a step over which a residual changes */
};

struct fit_result {
    double parameters[FIT_PARAMETERS_MAX];
    double sum_squares;
    /* Inverse of J'J, by row: the covariance where residuals are in units of sigma. */
    double covariance[FIT_PARAMETERS_MAX * FIT_PARAMETERS_MAX];
};

/* From one start. false where what came out is no minimum that the residuals determine: their
 * derivatives are singular, or not at right angles to them. */
bool fit_from(const struct fit_problem *problem, const double *start, struct fit_result *result);

#endif
