/* A calibration session (a night, or a CSV recording) to a calibration file.
 * Must never change the session. Used by cmd_calibrate.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_CALIBRATE_H
#define ROOMWAKE_COLLECTOR_RECORD_CALIBRATE_H

#include <stdint.h>
#include <stdio.h>

#include "common/channel_calibrations.h"
#include "common/text.h"

/* What is not given is NULL or NaN. */
struct calibrate_settings {
    const char *session_path;
    const char *site_path; /* of a CSV recording; NULL: the session is a night */
    const char *method;    /* rotation, coil, wire, noise, latency */
    const char *node;
    const char *channel; /* a channel; for a rotation the quantity */
    const char *out_path;
    int64_t from_ns; /* INT64_MIN, INT64_MAX: all */
    int64_t to_ns;
    double field; /* rotation: how strong it is there, in the unit */
    double field_error;
    double turns; /* coil: of each of the two */
    double radius_m;
    double distance_m; /* wire: from its middle to the sensor's */
    double length_m;
    double measure_error_m; /* of radius_m or distance_m */
    double current_error;   /* of the current, as a share */
    const char *levels_path;
    const char *against; /* latency: NODE/CHANNEL */
    double within_s;
};

/* Finds, merges with what settings->out_path has, saves there and tells in words. ERROR_USAGE for
 * what is missing or does not go together, ERROR_STATE and what to do where the session does not
 * carry it. */
int calibrate_run(const struct calibrate_settings *settings, FILE *words, struct error *error);

#endif
