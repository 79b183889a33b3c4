/* The generalised extreme value distribution: return levels, likelihood and its greatest point.
 * Must never give parameters under which a maximum it was given can't be. Called by tail.
 */
#include <math.h>

#include "collector/detect/simplex.h"
#include "collector/detect/tail.h"

#define EULER_GAMMA 0.5772156649015329
#define SHAPE_TINY 1e-7
/* Below this the derivative by the shape is taken from its series, which is better there. */
#define SHAPE_SMALL 1e-4
/* In ln likelihood: near enough for Newton's steps, and near enough for any threshold. */
#define COARSE 1e-2
#define FINE 1e-6
#define NEWTON_STEPS 12
#define DERIVATIVE_STEP 1e-5
#define PARAMETERS SIMPLEX_DIMS

/* ln likelihood as a function of location, ln scale and shape. */
struct problem {
    const double *sorted;
    size_t used; /* maxima that count by their own */
    size_t censored;
    double shape_mean;
    double shape_sd; /* 0: nothing is known of the shape */
};

double tail_return_level(const struct tail_gev *gev, double blocks)
{
    double reduced = -log1p(-1.0 / blocks);
    if (fabs(gev->shape) < SHAPE_TINY) {
        return gev->location - gev->scale * log(reduced);
    }
    return gev->location + gev->scale / gev->shape * expm1(-gev->shape * log(reduced));
}

/* ln(-ln F) of x, by which density and exceedance are told; NAN beyond the distribution's end. */
static double log_reduced(const struct tail_gev *gev, double x)
{
    double z = (x - gev->location) / gev->scale;
    if (fabs(gev->shape) < SHAPE_TINY) {
        return -z;
    }
    double inside = 1.0 + gev->shape * z;
    return inside > 0.0 ? -log(inside) / gev->shape : NAN;
}

double tail_log_likelihood(const struct tail_gev *gev, const double *sorted, size_t n,
                           size_t censored)
{
    if (!(gev->scale > 0.0)) {
        return -INFINITY;
    }
    double sum = -(double)(n - censored) * log(gev->scale);
    double reduced = 0.0;
    for (size_t i = 0; i < n - censored; i++) {
        double y = log_reduced(gev, sorted[i]);
        reduced = exp(y);
        sum += (1.0 + gev->shape) * y - reduced;
    }
    if (censored > 0) {
        sum += (double)censored * log(-expm1(-reduced));
    }
    return isfinite(sum) ? sum : -INFINITY;
}

static double cost_at(const void *context, const double point[PARAMETERS])
{
    const struct problem *problem = context;
    const struct tail_gev gev = {point[0], exp(point[1]), point[2]};
    double cost = -tail_log_likelihood(&gev, problem->sorted, problem->used + problem->censored,
                                       problem->censored);
    if (problem->shape_sd > 0.0) {
        double off = (gev.shape - problem->shape_mean) / problem->shape_sd;
        cost += 0.5 * off * off;
    }
    return isfinite(cost) ? cost : 1e300;
}

/* Of y = ln(-ln F) by the three parameters. */
static void slope_of(double z, double y, double scale, double shape, double slope[PARAMETERS])
{
    double inside = 1.0 + shape * z;
    slope[0] = 1.0 / (scale * inside);
    slope[1] = z / inside;
    slope[2] = fabs(shape) < SHAPE_SMALL ? z * z * (0.5 - 2.0 / 3.0 * shape * z)
                                         : -(y + z / inside) / shape;
}

/* The cost's derivatives: with e = exp(y) a maximum's ln density is (1 + shape) y - e - ln scale,
 * and a censored one's ln(1 - exp(-e)). */
static void derive(const struct problem *problem, const double point[PARAMETERS],
                   double gradient[PARAMETERS])
{
    const struct tail_gev gev = {point[0], exp(point[1]), point[2]};
    double sum[PARAMETERS] = {0.0, -(double)problem->used, 0.0};
    double slope[PARAMETERS] = {0.0};
    double reduced = 0.0;
    for (size_t i = 0; i < problem->used; i++) {
        double y = log_reduced(&gev, problem->sorted[i]);
        reduced = exp(y);
        slope_of((problem->sorted[i] - gev.location) / gev.scale, y, gev.scale, gev.shape, slope);
        for (int d = 0; d < PARAMETERS; d++) {
            sum[d] += (1.0 + gev.shape - reduced) * slope[d];
        }
        sum[2] += y;
    }
    double beyond = problem->censored > 0 ? reduced / expm1(reduced) : 0.0;
    for (int d = 0; d < PARAMETERS; d++) {
        gradient[d] = -sum[d] - (double)problem->censored * beyond * slope[d];
    }
    if (problem->shape_sd > 0.0) {
        gradient[2] += (gev.shape - problem->shape_mean) / (problem->shape_sd * problem->shape_sd);
    }
}

/* Solves A x = b for a symmetric A by elimination; false where A is not positive definite, for then
 * the point is near no lowest one. */
static bool solve(double a[PARAMETERS][PARAMETERS], double x[PARAMETERS])
{
    for (int d = 0; d < PARAMETERS; d++) {
        if (!(a[d][d] > 0.0)) {
            return false;
        }
        for (int row = d + 1; row < PARAMETERS; row++) {
            double part = a[row][d] / a[d][d];
            for (int column = d; column < PARAMETERS; column++) {
                a[row][column] -= part * a[d][column];
            }
            x[row] -= part * x[d];
        }
    }
    for (int d = PARAMETERS - 1; d >= 0; d--) {
        for (int column = d + 1; column < PARAMETERS; column++) {
            x[d] -= a[d][column] * x[column];
        }
        x[d] /= a[d][d];
    }
    return true;
}

/* One step of Newton's from `point`; false where there is none. */
static bool newton_step(const struct problem *problem, const double point[PARAMETERS],
                        const double sizes[PARAMETERS], double step[PARAMETERS])
{
    double curvature[PARAMETERS][PARAMETERS];
    for (int d = 0; d < PARAMETERS; d++) {
        double low[PARAMETERS];
        double high[PARAMETERS];
        double moved[PARAMETERS] = {point[0], point[1], point[2]};
        double apart = DERIVATIVE_STEP * sizes[d];
        moved[d] = point[d] + apart;
        derive(problem, moved, high);
        moved[d] = point[d] - apart;
        derive(problem, moved, low);
        for (int row = 0; row < PARAMETERS; row++) {
            curvature[row][d] = (high[row] - low[row]) / (2.0 * apart);
        }
    }
    derive(problem, point, step);
    return solve(curvature, step);
}

/* From near the lowest point to it, or false. */
static bool finish_by_newton(const struct problem *problem, double point[PARAMETERS],
                             const double sizes[PARAMETERS])
{
    double cost = cost_at(problem, point);
    for (int i = 0; i < NEWTON_STEPS; i++) {
        double step[PARAMETERS];
        if (!newton_step(problem, point, sizes, step)) {
            return false;
        }
        const double next[PARAMETERS] = {point[0] - step[0], point[1] - step[1],
                                         point[2] - step[2]};
        double next_cost = cost_at(problem, next);
        if (!(next_cost <= cost + FINE)) {
            return false;
        }
        bool there = cost - next_cost < FINE;
        cost = next_cost;
        for (int d = 0; d < PARAMETERS; d++) {
            point[d] = next[d];
        }
        if (there) {
            return true;
        }
    }
    return false;
}

int tail_fit(const double *sorted, size_t n, size_t censored, double shape_mean, double shape_sd,
             struct tail_gev *gev)
{
    size_t used = n - censored;
    if (used < 3 || !(sorted[used - 1] > sorted[0])) {
        return -1;
    }
    double mean = 0.0;
    for (size_t i = 0; i < used; i++) {
        mean += sorted[i] / (double)used;
    }
    double variance = 0.0;
    for (size_t i = 0; i < used; i++) {
        variance += (sorted[i] - mean) * (sorted[i] - mean) / (double)used;
    }
    double scale = sqrt(6.0 * variance) / M_PI;
    if (!(scale > 0.0)) {
        return -1; /* they differ by less than their squares can say */
    }
    struct problem problem = {sorted, used, censored, shape_mean, shape_sd};
    double point[PARAMETERS] = {mean - EULER_GAMMA * scale, log(scale), 0.0};
    const double sizes[PARAMETERS] = {0.5 * scale, 0.2, 0.1};
    simplex_minimise(cost_at, &problem, point, sizes, COARSE);
    double finished[PARAMETERS] = {point[0], point[1], point[2]};
    if (!finish_by_newton(&problem, finished, sizes)) {
        /* A second start from the first's end gets out of a collapsed simplex. */
        simplex_minimise(cost_at, &problem, point, sizes, FINE);
        simplex_minimise(cost_at, &problem, point, sizes, FINE);
        finished[0] = point[0];
        finished[1] = point[1];
        finished[2] = point[2];
    }
    *gev = (struct tail_gev){finished[0], exp(finished[1]), finished[2]};
    return isfinite(tail_log_likelihood(gev, sorted, n, censored)) ? 0 : -1;
}
