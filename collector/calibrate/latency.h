/* How much later one channel tells the same events than another.
 * Must never pair what is further apart than it was told to look. */
#ifndef ROOMWAKE_COLLECTOR_CALIBRATE_LATENCY_H
#define ROOMWAKE_COLLECTOR_CALIBRATE_LATENCY_H

#include "collector/calibrate/readings.h"

#define LATENCY_EVENTS_LEAST 5

struct latency_result {
    double latency_s; /* of `series` behind `reference` */
    double sd_s;      /* of the events' scatter and the samples' spacing; not of the clocks */
    size_t events;
};

/* Both must jump between two levels, together, at least five times: a magnet laid down and taken
 * away, a hand before a motion sensor. An event is a crossing of the middle between the levels,
 * that goes on by a quarter of their distance. */
int latency_find(const struct readings *reference, const struct readings *series, double within_s,
                 struct latency_result *result, struct error *error);

#endif
