/* One channel's readings of a calibration session, and what is asked of them.
 * Must never be what a night is made of: readings here are doubles, for fits alone. */
#ifndef ROOMWAKE_COLLECTOR_CALIBRATE_READINGS_H
#define ROOMWAKE_COLLECTOR_CALIBRATE_READINGS_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define READINGS_MAX 2000000u

/* Start from {0}; readings_free. Times rise. Readings are in the channel's unit by the driver's own
 * scale, without any calibration. */
struct readings {
    int64_t *times_ns;
    double *values;
    double step; /* of one count, in readings; 0 where not known */
    size_t count;
    size_t size;
};

int readings_add(struct readings *series, int64_t time_ns, double value, struct error *error);
void readings_free(struct readings *series);
/* The first sample at or after time_ns; count where there is none. */
size_t readings_find(const struct readings *series, int64_t time_ns);

/* The median of `values`, which it sorts. */
double readings_median(double *values, size_t count);
/* The rms of the noise of a still spell, from the differences of neighbours: their median size /
 * (0.6745 sqrt 2), so that drift and single steps don't count; where most neighbours are equal (a
 * coarse step) their rms / sqrt 2. NaN below 3 samples. */
double readings_noise(const struct readings *series);

#endif
