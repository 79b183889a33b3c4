/* A ring of block maxima.
 * Must never grow. Called by baseline, bank and watch.
 */
#include "collector/detect/extremes.h"

#include <math.h>

void extremes_add(struct extremes *extremes, double maximum)
{
    extremes->maxima[extremes->blocks % EXTREMES_MAX] = maximum;
    extremes->blocks++;
}

size_t extremes_kept(const struct extremes *extremes)
{
    return extremes->blocks < EXTREMES_MAX ? extremes->blocks : EXTREMES_MAX;
}

void extremes_divide(struct extremes *extremes, double unit)
{
    for (size_t i = 0; i < extremes_kept(extremes); i++) {
        extremes->maxima[i] /= unit;
    }
}

size_t extremes_merge(const struct extremes *extremes, size_t merged, double *out)
{
    size_t count = 0;
    size_t fill = 0;
    double largest = -INFINITY;
    for (size_t i = extremes->blocks - extremes_kept(extremes); i < extremes->blocks; i++) {
        double maximum = extremes->maxima[i % EXTREMES_MAX];
        if (merged > 1 && isinf(maximum)) {
            continue;
        }
        largest = fmax(largest, maximum);
        if (++fill == merged) {
            out[count++] = largest;
            fill = 0;
            largest = -INFINITY;
        }
    }
    return count;
}
