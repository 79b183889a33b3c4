/* Where something came from, out of how strong it was at each node, or when it came to each.
 * Must never tell a place that the nodes' places can't carry: too few, on one line, a second place
 * as good, an ellipse as wide as the house. Called by judge. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_PLACE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_PLACE_H

#include "collector/model/coincidence.h"
#include "common/site.h"

#define PLACE_READINGS_MAX 32

/* What one node knows. */
struct place_reading {
    double at_m[3];
    double value; /* amplitude, or time in s */
    double sd;    /* of the amplitude's logarithm, or of the time in s */
};

/* Amplitudes that fall with the `exponent`-th power of the distance (3 for a dipole); the source at
 * the height z_m. */
void place_by_amplitude(const struct place_reading *readings, size_t count, double exponent,
                        double z_m, struct source *source);
/* Times of what spreads evenly at speed_m_s from an unknown moment on; speed 0: unknown too. */
void place_by_arrival(const struct place_reading *readings, size_t count, double speed_m_s,
                      double z_m, struct source *source);

/* A prompt one from its magnetic amplitudes, a travelling one from its magnetic onsets. */
void place_coincidence(const struct site *site, const struct coincidence *coincidence,
                       struct source *source);

#endif
