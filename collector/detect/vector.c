/* Lengths, the geometric median and the distribution of a noise vector's length.
 * Must never prefer an axis: turning the node must not matter. Called by baseline, tail and watch.
 */
#include "collector/detect/vector.h"

#include <math.h>
#include <string.h>

#include "collector/detect/robust.h"

#define WEISZFELD_STEPS 60

double vector_length(const double *vector, size_t dims)
{
    double sum = 0.0;
    for (size_t a = 0; a < dims; a++) {
        sum += vector[a] * vector[a];
    }
    return sqrt(sum);
}

/* One step of Weiszfeld's iteration; returns how far the middle moved. Distances are kept above
 * `nearest`, so that a sample that is the middle does not divide by zero. */
static double weiszfeld_step(const double *const axes[], size_t dims, size_t n, double nearest,
                             double middle[VECTOR_AXES_MAX])
{
    double sum[VECTOR_AXES_MAX] = {0.0};
    double weights = 0.0;
    for (size_t i = 0; i < n; i++) {
        double apart[VECTOR_AXES_MAX];
        for (size_t a = 0; a < dims; a++) {
            apart[a] = axes[a][i] - middle[a];
        }
        double weight = 1.0 / fmax(vector_length(apart, dims), nearest);
        for (size_t a = 0; a < dims; a++) {
            sum[a] += weight * apart[a];
        }
        weights += weight;
    }
    for (size_t a = 0; a < dims; a++) {
        sum[a] /= weights;
        middle[a] += sum[a];
    }
    return vector_length(sum, dims);
}

void vector_middle(const double *const axes[], size_t dims, size_t n, double *scratch,
                   double middle[VECTOR_AXES_MAX])
{
    double spread = 0.0;
    for (size_t a = 0; a < dims; a++) {
        memcpy(scratch, axes[a], n * sizeof *scratch);
        middle[a] = robust_median(scratch, n);
        memcpy(scratch, axes[a], n * sizeof *scratch);
        spread += robust_deviation(scratch, n, middle[a]);
    }
    if (dims == 1 || !(spread > 0.0)) {
        return;
    }
    for (int step = 0; step < WEISZFELD_STEPS; step++) {
        if (weiszfeld_step(axes, dims, n, 1e-6 * spread, middle) < 1e-7 * spread) {
            break;
        }
    }
}

double vector_exceedance(double z, size_t dims)
{
    if (dims == 1) {
        return erfc(z * M_SQRT1_2);
    }
    if (dims == 2) {
        return exp(-0.5 * z * z);
    }
    return erfc(z * M_SQRT1_2) + sqrt(2.0 / M_PI) * z * exp(-0.5 * z * z);
}

double vector_median_length(size_t dims)
{
    static const double medians[] = {0.6744897501960817, 1.1774100225154747, 1.5381722544550522};
    return medians[dims - 1];
}

double vector_log_density(double z, size_t dims)
{
    double base = -0.5 * z * z;
    if (dims == 2) {
        return base + log(z);
    }
    base += 0.5 * log(2.0 / M_PI);
    return dims == 1 ? base : base + 2.0 * log(z);
}
