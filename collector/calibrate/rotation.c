/* Six parameters: sqrt(sum of (gain (reading - zero))^2) = 1, by
 * Levenberg-Marquardt (cminpack; More, Garbow & Hillstrom 1980, ANL-80-74) from the middle of each
 * axis' range. Must never believe the minimiser alone: what came out is looked at. */
#include "collector/calibrate/rotation.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include <cminpack.h>

#define PARAMETERS 6 /* three zeros, three gains; in units of half a range */
#define EVALUATIONS_MAX 400
#define TOLERANCE 1e-13
/* Each axis must have shown this much of the field both ways. */
#define SEEN_LEAST 0.6
/* An axis whose readings spread less than this, as a share of the widest, was not turned over. */
#define SPREAD_LEAST 0.35
#define RESIDUAL_MOST 0.1
#define STRETCHES 30
/* The pivots of J'J over columns of length 1. */
#define SINGULAR 1e-9

struct fit {
    size_t count;
    double (*points)[ROTATION_AXES]; /* of the order of 1 */
    double middle[ROTATION_AXES];
    double half[ROTATION_AXES];
};

static double length_at(const struct fit *fit, const double *parameters, size_t i)
{
    double square = 0.0;
    for (size_t axis = 0; axis < ROTATION_AXES; axis++) {
        double part = parameters[3 + axis] * (fit->points[i][axis] - parameters[axis]);
        square += part * part;
    }
    return sqrt(square);
}

/* As cminpack's lmder asks: residuals for flag 1, derivatives by column for 2. */
static int evaluate(void *context, int count, int size, const double *parameters, double *residuals,
                    double *derivatives, int lead, int flag)
{
    const struct fit *fit = context;
    (void)size;
    for (size_t i = 0; i < (size_t)count; i++) {
        double length = length_at(fit, parameters, i);
        if (flag == 1) {
            residuals[i] = length - 1.0;
            continue;
        }
        for (size_t axis = 0; axis < ROTATION_AXES; axis++) {
            double gain = parameters[3 + axis];
            double off = fit->points[i][axis] - parameters[axis];
            double over = length > 0.0 ? 1.0 / length : 0.0;
            derivatives[i + axis * (size_t)lead] = -gain * gain * off * over;
            derivatives[i + (3 + axis) * (size_t)lead] = gain * off * off * over;
        }
    }
    return 0;
}

/* ---- before the fit ---- */

static int measure(const struct readings *axes, const char *const names[], struct fit *fit,
                   struct error *error)
{
    double widest = 0.0;
    for (size_t axis = 0; axis < ROTATION_AXES; axis++) {
        double low = INFINITY;
        double high = -INFINITY;
        for (size_t i = 0; i < fit->count; i++) {
            low = fmin(low, axes[axis].values[i]);
            high = fmax(high, axes[axis].values[i]);
        }
        fit->middle[axis] = 0.5 * (low + high);
        fit->half[axis] = 0.5 * (high - low);
        widest = fmax(widest, fit->half[axis]);
    }
    for (size_t axis = 0; axis < ROTATION_AXES; axis++) {
        if (!(fit->half[axis] > SPREAD_LEAST * widest)) {
            return error_set(error, ERROR_STATE,
                             "too little turning: %s hardly changed. Turn the node slowly until "
                             "each of its six sides has faced up",
                             names[axis]);
        }
    }
    for (size_t i = 0; i < fit->count; i++) {
        for (size_t axis = 0; axis < ROTATION_AXES; axis++) {
            fit->points[i][axis] = (axes[axis].values[i] - fit->middle[axis]) / fit->half[axis];
        }
    }
    return 0;
}

/* ---- after it ---- */

static int look_at_turning(const struct fit *fit, const double *parameters,
                           const char *const names[], struct error *error)
{
    for (size_t axis = 0; axis < ROTATION_AXES; axis++) {
        double low = INFINITY;
        double high = -INFINITY;
        for (size_t i = 0; i < fit->count; i++) {
            double part = parameters[3 + axis] * (fit->points[i][axis] - parameters[axis]);
            low = fmin(low, part);
            high = fmax(high, part);
        }
        if (low > -SEEN_LEAST || high < SEEN_LEAST) {
            return error_set(error, ERROR_STATE,
                             "too little turning: %s saw from %.0f to %.0f %% of the field, and "
                             "needs -%.0f to %.0f. Turn the node slowly until each of its six "
                             "sides has faced up",
                             names[axis], low * 100, high * 100, SEEN_LEAST * 100,
                             SEEN_LEAST * 100);
        }
    }
    return 0;
}

/* The inverse of J'J from the pivoted R that lmder leaves; false where it is singular. */
static bool invert(double *r, int lead, const int *pivots, double inverse[PARAMETERS][PARAMETERS])
{
    double work[PARAMETERS];
    for (int j = 0; j < PARAMETERS; j++) {
        if (!(fabs(r[j + j * lead]) > SINGULAR * fabs(r[0]))) {
            return false;
        }
    }
    covar(PARAMETERS, r, lead, pivots, SINGULAR, work);
    for (int j = 0; j < PARAMETERS; j++) {
        for (int k = 0; k < PARAMETERS; k++) {
            inverse[j][k] = r[j + k * lead];
        }
    }
    return true;
}

/* The parameters' inverse without believing that neighbours' errors are independent: the sum of
 * products over stretches of time, between the inverse of J'J on both sides (White 1980,
 * Econometrica 48:817, for groups). Variances into variance[]. */
static void spread(const struct fit *fit, const double *residuals, const double *derivatives,
                   double inverse[PARAMETERS][PARAMETERS], double variance[PARAMETERS])
{
    for (int j = 0; j < PARAMETERS; j++) {
        variance[j] = 0.0;
    }
    for (size_t stretch = 0; stretch < STRETCHES; stretch++) {
        double sum[PARAMETERS] = {0.0};
        size_t from = fit->count * stretch / STRETCHES;
        size_t to = fit->count * (stretch + 1) / STRETCHES;
        for (size_t i = from; i < to; i++) {
            for (size_t j = 0; j < PARAMETERS; j++) {
                sum[j] += derivatives[i + j * fit->count] * residuals[i];
            }
        }
        for (int j = 0; j < PARAMETERS; j++) {
            double moved = 0.0;
            for (int k = 0; k < PARAMETERS; k++) {
                moved += inverse[j][k] * sum[k];
            }
            variance[j] += moved * moved * STRETCHES / (STRETCHES - PARAMETERS);
        }
    }
}

static void fill(const struct fit *fit, const double *parameters, const double *residuals,
                 const double *derivatives, double inverse[PARAMETERS][PARAMETERS],
                 struct rotation_result *result)
{
    double square = 0.0;
    double own[PARAMETERS];
    for (size_t i = 0; i < fit->count; i++) {
        square += residuals[i] * residuals[i];
    }
    double variance = square / (double)(fit->count - PARAMETERS);
    spread(fit, residuals, derivatives, inverse, own);
    for (int j = 0; j < PARAMETERS; j++) {
        own[j] = sqrt(fmax(own[j], variance * inverse[j][j]));
    }
    /* Noise across the field makes its length greater: by half the variance of each of two parts.
     */
    double longer = 1.0 + variance;
    for (size_t axis = 0; axis < ROTATION_AXES; axis++) {
        double gain = parameters[3 + axis];
        result->zero[axis] = fit->middle[axis] + parameters[axis] * fit->half[axis];
        result->zero_sd[axis] = own[axis] * fit->half[axis];
        result->gain[axis] = fabs(gain) * longer / fit->half[axis];
        result->gain_sd[axis] = own[3 + axis] / fabs(gain);
    }
    result->residual = sqrt(variance);
}

static int solve(struct fit *fit, const char *const names[], double *work,
                 struct rotation_result *result, struct error *error)
{
    int count = (int)fit->count;
    double parameters[PARAMETERS] = {0.0, 0.0, 0.0, 1.0, 1.0, 1.0};
    double scales[PARAMETERS], gradient[PARAMETERS], inner[3][PARAMETERS];
    double inverse[PARAMETERS][PARAMETERS];
    int pivots[PARAMETERS];
    int evaluations = 0;
    int steps = 0;
    double *residuals = work;
    double *derivatives = work + count;
    int info = lmder(evaluate, fit, count, PARAMETERS, parameters, residuals, derivatives, count,
                     TOLERANCE, TOLERANCE, 0.0, EVALUATIONS_MAX, scales, 1, 100.0, 0, &evaluations,
                     &steps, pivots, gradient, inner[0], inner[1], inner[2],
                     derivatives + PARAMETERS * (size_t)count);
    if (info > 0 && look_at_turning(fit, parameters, names, error) != 0) {
        return -1;
    }
    if (info > 0 && invert(derivatives, count, pivots, inverse)) {
        (void)evaluate(fit, count, PARAMETERS, parameters, residuals, derivatives, count, 2);
        fill(fit, parameters, residuals, derivatives, inverse, result);
        if (result->residual <= RESIDUAL_MOST) {
            return 0;
        }
    }
    return error_set(
        error, ERROR_STATE,
        "the readings don't lie on an ellipsoid%s: turn the node slowly, in one place, "
        "away from iron, magnets and wires, and do it again",
        info > 0 ? ", or only roughly" : "");
}

int rotation_fit(const struct readings axes[ROTATION_AXES], const char *const names[ROTATION_AXES],
                 struct rotation_result *result, struct error *error)
{
    struct fit fit = {.count = axes[0].count};
    for (size_t axis = 1; axis < ROTATION_AXES; axis++) {
        fit.count = axes[axis].count < fit.count ? axes[axis].count : fit.count;
    }
    if (fit.count < ROTATION_SAMPLES_LEAST) {
        return error_set(error, ERROR_STATE,
                         "%zu samples of the three axes together, at least %d are needed: turn the "
                         "node for a minute or two",
                         fit.count, ROTATION_SAMPLES_LEAST);
    }
    fit.points = calloc(fit.count, sizeof *fit.points);
    double *work = calloc(fit.count, (PARAMETERS + 2) * sizeof *work);
    int result_code =
        !fit.points || !work ? error_set(error, ERROR_MEMORY, "rotation: out of memory")
        : measure(axes, names, &fit, error) || solve(&fit, names, work, result, error) ? -1
                                                                                       : 0;
    free(fit.points);
    free(work);
    return result_code;
}
