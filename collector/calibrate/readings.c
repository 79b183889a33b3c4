/* Readings in memory, and the few statistics that the fits share.
 * Must never keep more than a session needs. Called by the calibrate files. */
#include "collector/calibrate/readings.h"

#include <math.h>
#include <stdlib.h>

#define MEDIAN_OF_NORMAL 0.67448975

int readings_add(struct readings *series, int64_t time_ns, double value, struct error *error)
{
    if (series->count == READINGS_MAX) {
        return error_set(error, ERROR_RANGE,
                         "more than %u samples: choose a shorter part with --from and --to",
                         READINGS_MAX);
    }
    if (series->count == series->size) {
        size_t size = series->size ? 2 * series->size : 1024;
        int64_t *times = realloc(series->times_ns, size * sizeof *times);
        series->times_ns = times ? times : series->times_ns;
        double *values = realloc(series->values, size * sizeof *values);
        series->values = values ? values : series->values;
        if (!times || !values) {
            return error_set(error, ERROR_MEMORY, "out of memory");
        }
        series->size = size;
    }
    series->times_ns[series->count] = time_ns;
    series->values[series->count++] = value;
    return 0;
}

void readings_free(struct readings *series)
{
    free(series->times_ns);
    free(series->values);
    *series = (struct readings){0};
}

size_t readings_find(const struct readings *series, int64_t time_ns)
{
    size_t low = 0;
    size_t high = series->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (series->times_ns[middle] < time_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

static int compare(const void *a, const void *b)
{
    double left = *(const double *)a;
    double right = *(const double *)b;
    return (left > right) - (left < right);
}

double readings_median(double *values, size_t count)
{
    qsort(values, count, sizeof *values, compare);
    return count % 2 ? values[count / 2] : 0.5 * (values[count / 2 - 1] + values[count / 2]);
}

double readings_noise(const struct readings *series)
{
    if (series->count < 3) {
        return NAN;
    }
    size_t count = series->count - 1;
    double *sizes = malloc(count * sizeof *sizes);
    if (!sizes) {
        return NAN;
    }
    double square = 0.0;
    for (size_t i = 0; i < count; i++) {
        sizes[i] = fabs(series->values[i + 1] - series->values[i]);
        square += sizes[i] * sizes[i];
    }
    double median = readings_median(sizes, count);
    free(sizes);
    return median > 0.0 ? median / MEDIAN_OF_NORMAL / M_SQRT2
                        : sqrt(square / (double)count) / M_SQRT2;
}
