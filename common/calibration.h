/* What a calibration found of one channel, with its uncertainty and date: part of the channel's
 * description. value = reading * gain + offset, where a reading is what the driver's own scale
 * gives. Must never touch a sample: it changes how counts are read, not the counts. */
#ifndef ROOMWAKE_COMMON_CALIBRATION_H
#define ROOMWAKE_COMMON_CALIBRATION_H

#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stdint.h>

#include "common/decimal.h"
#include "common/error.h"
#include "common/ident.h"
#include "common/text.h"

#define CALIBRATION_HOW_SIZE 64
#define CALIBRATION_TEXT_SIZE 1024 /* of calibration_write, at most */
#define CALIBRATION_LATENCY_MOST_S 60.0
#define CALIBRATION_AGAINST_SIZE (IDENT_SIZE + CHANNEL_NAME_SIZE)

/* Caller-owned plain value; all zero is "none". What was not found is NaN. Uncertainties are one
 * sigma. */
struct calibration {
    int64_t date_ns;                /* since 1970, of the newest session; 0: there is none */
    char how[CALIBRATION_HOW_SIZE]; /* "rotation, coil": printable ASCII */
    struct decimal gain;            /* not 0 */
    struct decimal offset;          /* in the unit */
    double gain_sd;                 /* relative; NaN: the size of the unit was not calibrated */
    double offset_sd;               /* in the unit */
    double residual;                /* rms that the fit left over, in the unit */
    double noise;                   /* rms of a still spell at the channel's rate, in the unit */
    double latency_s; /* how much later than `against` this channel tells the same event: taken off
                         its onsets; within CALIBRATION_LATENCY_MOST_S */
    double latency_sd_s;
    char against[CALIBRATION_AGAINST_SIZE]; /* "n1/motion"; "" */
};

/* Gain 1, offset 0, nothing found yet, dated. */
struct calibration calibration_begin(int64_t date_ns);
/* Whether numbers in the channel's unit may be called calibrated. */
bool calibration_of_unit(const struct calibration *calibration);
/* reading * gain + offset, exactly; -1 without an error text where that does not fit. */
int calibration_value(const struct calibration *calibration, struct decimal reading,
                      struct decimal *value);
bool calibration_same(const struct calibration *a, const struct calibration *b);

/* {"date":"2024-03-01T22:00:00.000000000Z","how":"coil","gain":"1.012","offset":"-2.1e-06",
 *  "gain_sd":0.004,...}; what was not found is left out. */
int calibration_write(const struct calibration *calibration, struct text *out);
/* Each fault is named by its path. */
int calibration_parse(const char *text, size_t length, const char *name,
                      struct calibration *calibration, struct error *error);
int calibration_read(const cJSON *json, const char *path, struct calibration *calibration,
                     struct error *error);

#endif
