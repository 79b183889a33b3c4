/* Levenberg-Marquardt by cminpack (More, Garbow & Hillstrom 1980, ANL-80-74), then the derivatives
 * at what it found.
 * Must never allocate. Called by place and the checks. */
#include "collector/correlate/fit.h"

#include <math.h>
#include <string.h>

#include <cminpack.h>

#define EVALUATIONS_MAX 2000
#define TOLERANCE 1e-15
/* A minimum's residuals are at right angles to their derivatives; cosines below this, since the
 * derivatives are differences. */
#define ANGLE 1e-4
/* Residuals as small as this leave no angle to tell. */
#define NO_RESIDUAL 1e-7
/* The least pivot of J'J, its columns scaled to length 1. */
#define SINGULAR 1e-12

static int evaluate(void *context, int residual_count, int parameter_count,
                    const double *parameters, double *residuals, int flag)
{
    const struct fit_problem *problem = context;
    (void)residual_count;
    (void)parameter_count;
    (void)flag;
    problem->residuals(problem->context, parameters, residuals);
    return 0;
}

/* Central differences, by residual and parameter. */
static void derive(const struct fit_problem *problem, const double *parameters,
                   double jacobian[FIT_RESIDUALS_MAX][FIT_PARAMETERS_MAX])
{
    double moved[FIT_PARAMETERS_MAX];
    double above[FIT_RESIDUALS_MAX];
    double below[FIT_RESIDUALS_MAX];
    memcpy(moved, parameters, problem->parameter_count * sizeof moved[0]);
    for (size_t j = 0; j < problem->parameter_count; j++) {
        double step = 1e-5 * problem->scale[j];
        moved[j] = parameters[j] + step;
        problem->residuals(problem->context, moved, above);
        moved[j] = parameters[j] - step;
        problem->residuals(problem->context, moved, below);
        moved[j] = parameters[j];
        for (size_t i = 0; i < problem->residual_count; i++) {
            jacobian[i][j] = (above[i] - below[i]) / (2.0 * step);
        }
    }
}

/* Inverts J'J over columns of length 1; false where it is singular. */
static bool invert(double matrix[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX], size_t size,
                   double inverse[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX])
{
    for (size_t i = 0; i < size; i++) {
        for (size_t j = 0; j < size; j++) {
            inverse[i][j] = i == j ? 1.0 : 0.0;
        }
    }
    for (size_t pivot = 0; pivot < size; pivot++) {
        /* Positive definite: the diagonal pivots as they come. */
        double over = matrix[pivot][pivot];
        if (!(over > SINGULAR)) {
            return false;
        }
        for (size_t j = 0; j < size; j++) {
            matrix[pivot][j] /= over;
            inverse[pivot][j] /= over;
        }
        for (size_t i = 0; i < size; i++) {
            double times = matrix[i][pivot];
            for (size_t j = 0; j < size && i != pivot; j++) {
                matrix[i][j] -= times * matrix[pivot][j];
                inverse[i][j] -= times * inverse[pivot][j];
            }
        }
    }
    return true;
}

static bool check(const struct fit_problem *problem, const double *residuals,
                  struct fit_result *result)
{
    static const double none[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX] = {{0.0}};
    double jacobian[FIT_RESIDUALS_MAX][FIT_PARAMETERS_MAX];
    double lengths[FIT_PARAMETERS_MAX];
    double products[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX];
    double inverse[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX];
    size_t size = problem->parameter_count;
    derive(problem, result->parameters, jacobian);
    memcpy(products, none, sizeof products);
    for (size_t j = 0; j < size; j++) {
        double square = 0.0;
        double along = 0.0;
        for (size_t i = 0; i < problem->residual_count; i++) {
            square += jacobian[i][j] * jacobian[i][j];
            along += jacobian[i][j] * residuals[i];
        }
        lengths[j] = sqrt(square);
        double length = sqrt(result->sum_squares);
        if (!(lengths[j] > 0.0) || !isfinite(lengths[j]) ||
            (length > NO_RESIDUAL && fabs(along) > ANGLE * lengths[j] * length)) {
            return false;
        }
    }
    for (size_t j = 0; j < size; j++) {
        for (size_t k = 0; k < size; k++) {
            for (size_t i = 0; i < problem->residual_count; i++) {
                products[j][k] += jacobian[i][j] / lengths[j] * (jacobian[i][k] / lengths[k]);
            }
        }
    }
    if (!invert(products, size, inverse)) {
        return false;
    }
    for (size_t j = 0; j < size; j++) {
        for (size_t k = 0; k < size; k++) {
            result->covariance[j * size + k] = inverse[j][k] / (lengths[j] * lengths[k]);
        }
    }
    return true;
}

bool fit_from(const struct fit_problem *problem, const double *start, struct fit_result *result)
{
    double residuals[FIT_RESIDUALS_MAX];
    double diagonal[FIT_PARAMETERS_MAX];
    double jacobian[FIT_RESIDUALS_MAX * FIT_PARAMETERS_MAX];
    double work[4][FIT_RESIDUALS_MAX];
    double rotated[FIT_PARAMETERS_MAX];
    int pivots[FIT_PARAMETERS_MAX];
    int evaluations = 0;
    size_t m = problem->residual_count;
    size_t n = problem->parameter_count;
    if (m < n || m > FIT_RESIDUALS_MAX || n > FIT_PARAMETERS_MAX) {
        return false;
    }
    memcpy(result->parameters, start, n * sizeof start[0]);
    struct fit_problem copy = *problem;
    int info = lmdif(evaluate, &copy, (int)m, (int)n, result->parameters, residuals, TOLERANCE,
                     TOLERANCE, 0.0, EVALUATIONS_MAX, 0.0, diagonal, 1, 100.0, 0, &evaluations,
                     jacobian, (int)m, pivots, rotated, work[0], work[1], work[2], work[3]);
    result->sum_squares = 0.0;
    for (size_t i = 0; i < m; i++) {
        result->sum_squares += residuals[i] * residuals[i];
    }
    return info > 0 && isfinite(result->sum_squares) && check(problem, residuals, result);
}
