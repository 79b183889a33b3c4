/* What a session found, put together with what earlier ones did.
 * Must never let a new session throw away what it says nothing of: a coil keeps the zero point that
 * a rotation found, a rotation without a known strength keeps the size that a coil gave. */
#ifndef ROOMWAKE_COLLECTOR_CALIBRATE_OUTCOME_H
#define ROOMWAKE_COLLECTOR_CALIBRATE_OUTCOME_H

#include "common/calibration.h"

/* value = gain * (reading - zero). NaN: the session says nothing of it. */
struct outcome {
    double gain;
    double gain_sd; /* relative; NaN where `gain` is only good beside the other axes' */
    double zero;    /* in readings */
    double zero_sd;
    double residual; /* in the unit */
};

/* Changes *calibration (of calibration_begin, or an earlier one) to what both say. Gain and offset
 * are rounded to a digit that is at most a tenth of their uncertainty. `how` is added. */
int outcome_merge(const struct outcome *outcome, const char *how, int64_t date_ns,
                  struct calibration *calibration, struct error *error);

#endif
