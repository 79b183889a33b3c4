/* Offset and scale of three axes from a sensor that was turned about in a field that stays the
 * same: the readings lie on an ellipsoid whose axes are the sensor's. Cross-talk between axes (and
 * soft iron that is not along them) can't be said by a scale an axis: it is left in the residual,
 * which is told. Must never go on without having seen each axis both ways. */
#ifndef ROOMWAKE_COLLECTOR_CALIBRATE_ROTATION_H
#define ROOMWAKE_COLLECTOR_CALIBRATE_ROTATION_H

#include "collector/calibrate/readings.h"

#define ROTATION_AXES 3
#define ROTATION_SAMPLES_LEAST 60

/* field along an axis = gain * (reading - zero), scaled so that the field's strength is 1. */
struct rotation_result {
    double gain[ROTATION_AXES];
    double gain_sd[ROTATION_AXES]; /* relative */
    double zero[ROTATION_AXES];    /* in readings */
    double zero_sd[ROTATION_AXES];
    double residual; /* rms of the strength found at each sample, relative to it */
};

/* Three series of the same times; `names` are what errors call the axes. ERROR_STATE, and what to
 * do, where the turning or the place does not carry a calibration. */
int rotation_fit(const struct readings axes[ROTATION_AXES], const char *const names[ROTATION_AXES],
                 struct rotation_result *result, struct error *error);

#endif
