/* Gain from a channel that saw several known fields, one after the other.
 * Must never take two levels of the same current for two. */
#ifndef ROOMWAKE_COLLECTOR_CALIBRATE_LEVELS_H
#define ROOMWAKE_COLLECTOR_CALIBRATE_LEVELS_H

#include "collector/calibrate/readings.h"

#define LEVELS_MAX 64

/* A stretch in which the current stayed as it is. */
struct level {
    int64_t start_ns;
    int64_t end_ns;
    double current_a;
};

struct levels_result {
    double gain;     /* field / reading */
    double gain_sd;  /* relative, of the readings alone */
    double residual; /* rms of the levels' means about the line, as a field in T */
    double p_value;  /* of the levels' scatter about a straight line; NaN with two levels */
    size_t levels;
};

/* field_per_a: what one ampere makes along the channel's axis. The first and last tenth of each
 * level are left out, since a hand switches. */
int levels_fit(const struct readings *series, const struct level *levels, size_t count,
               double field_per_a, struct levels_result *result, struct error *error);

#endif
