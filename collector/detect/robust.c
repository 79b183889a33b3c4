/* Medians by selection, in place and in linear time.
 * Must never allocate or keep state. Called by vector and baseline.
 */
#include "collector/detect/robust.h"

#include <math.h>

/* Hoare's selection: the k-th smallest, with all smaller ones before it. */
static double select_kth(double *values, size_t n, size_t k)
{
    size_t low = 0;
    size_t high = n - 1;
    while (low < high) {
        double pivot = values[low + (high - low) / 2];
        size_t i = low;
        size_t j = high;
        for (;;) {
            while (values[i] < pivot) {
                i++;
            }
            while (values[j] > pivot) {
                j--;
            }
            if (i >= j) {
                break;
            }
            double swap = values[i];
            values[i++] = values[j];
            values[j--] = swap;
        }
        if (k <= j) {
            high = j;
        } else {
            low = j + 1;
        }
    }
    return values[k];
}

double robust_median(double *values, size_t n)
{
    double upper = select_kth(values, n, n / 2);
    if (n % 2 == 1) {
        return upper;
    }
    double lower = values[0];
    for (size_t i = 1; i < n / 2; i++) {
        lower = fmax(lower, values[i]);
    }
    return 0.5 * (lower + upper);
}

double robust_deviation(double *values, size_t n, double centre)
{
    for (size_t i = 0; i < n; i++) {
        values[i] = fabs(values[i] - centre);
    }
    return robust_median(values, n);
}
