/* A channel's description, sent once per boot, and the way from counts to values and back.
 * Must never hold samples. value = count * step + offset, both exact decimals. */
#ifndef ROOMWAKE_COMMON_CHANNEL_H
#define ROOMWAKE_COMMON_CHANNEL_H

#include <stdbool.h>
#include <stdint.h>

#include "common/calibration.h"
#include "common/decimal.h"
#include "common/ident.h"
#include "common/units.h"

#define NODE_CHANNELS_MAX 32

/* Caller-owned plain value. Step and offset have the calibration in them already. period_ps is 0
 * for a channel that tells only changes (rate_hz 0). */
struct channel {
    char name[CHANNEL_NAME_SIZE];
    char unit[UNIT_SIZE];
    enum quantity quantity;
    double rate_hz;
    int64_t period_ps;
    struct decimal step;
    struct decimal offset;
    /* Counts at which the sensor is at its end, by its driver; least = most: not told. */
    int32_t least;
    int32_t most;
    struct calibration calibration;
};

/* Whether numbers in its unit need no word of warning: it was calibrated, or has none. */
bool channel_calibrated(const struct channel *channel);
/* Puts a calibration into step and offset. ERROR_STATE where it has one already, ERROR_RANGE where
 * the outcome can't be kept exactly for counts of 24 bits. */
int channel_calibrate(struct channel *channel, const struct calibration *calibration,
                      struct error *error);
/* Takes the calibration out of a value: what the driver's own scale gave. */
double channel_reading(const struct channel *channel, double value);

/* Fills name, unit, quantity, rate and period; step 1, offset 0. `unit` NULL takes the default. */
int channel_init(struct channel *channel, const char *name, const char *unit, double rate_hz,
                 struct error *error);

/* The same name, unit, rate and scale. */
bool channel_same(const struct channel *a, const struct channel *b);

double channel_value(const struct channel *channel, int64_t count);
/* The exact decimal text of a count's value. */
int channel_value_text(const struct channel *channel, int64_t count, char text[DECIMAL_TEXT_SIZE]);

/* 1e12 / rate_hz to the nearest picosecond; 0 for rate 0. */
int64_t channel_period_ps(double rate_hz);

#endif
