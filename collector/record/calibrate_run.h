/* What the parts of a calibrate run share.
 * Must never be used outside record/calibrate*.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_CALIBRATE_RUN_H
#define ROOMWAKE_COLLECTOR_RECORD_CALIBRATE_RUN_H

#include "collector/record/calibrate_session.h"

struct calibrate_run {
    const struct calibrate_settings *settings;
    struct channel_calibrations file;
    int64_t date_ns;
    FILE *words;
    struct error *error;
};

/* What was known of the channel: by the file, else by the session's own description. */
struct calibration calibrate_known(const struct calibrate_run *run,
                                   const struct calibrate_wanted *wanted);
/* The session is as old as its last sample. */
void calibrate_note_date(struct calibrate_run *run, const struct calibrate_wanted *wanted);
/* Tells it in words and puts it into the file to be. */
int calibrate_keep(struct calibrate_run *run, const struct calibrate_wanted *wanted,
                   const struct calibration *found);
int calibrate_rotation(struct calibrate_run *run);

#endif
