/* The readings and current levels of a calibration session.
 * Must never interpolate. Private to collector/record. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_CALIBRATE_SESSION_H
#define ROOMWAKE_COLLECTOR_RECORD_CALIBRATE_SESSION_H

#include "collector/calibrate/levels.h"
#include "collector/calibrate/readings.h"
#include "collector/record/calibrate.h"

/* One channel, by node and name; filled by calibrate_session_read. */
struct calibrate_wanted {
    char node[IDENT_SIZE];
    char channel[CHANNEL_NAME_SIZE];
    struct channel description; /* the calibration that it had in the session is in it */
    double clock_sd_s;
    struct readings series;
};

/* Readings without any calibration, in time order. ERROR_NOT_FOUND names a node or channel that is
 * not there, or has no samples in the stretch. The series are the caller's, also on failure. */
int calibrate_session_read(const struct calibrate_settings *settings,
                           struct calibrate_wanted *wanted, size_t count, struct error *error);
/* From settings->levels_path (rows "start,end,amperes"), or from the night's marks whose text ends
 * in a number and "A": "coil 0.1 A". */
int calibrate_session_levels(const struct calibrate_settings *settings, struct level *levels,
                             size_t size, size_t *count, struct error *error);

#endif
