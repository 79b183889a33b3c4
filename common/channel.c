/* Fills a channel's description; counts to values, exactly and as doubles.
 * Must never hold samples nor let a rate through whose period int64 picoseconds cannot say.
 * Called by the site file, hello messages, drivers, detection and export. */
#include "common/channel.h"

#include <math.h>
#include <string.h>

#include "common/clock.h"

/* A period of 10^18 ps still fits int64; nothing that is sampled in a house is faster than 1 MHz.
 */
#define RATE_LEAST_HZ 1e-6
#define RATE_MOST_HZ 1e6
#define COUNT_OF_24_BITS INT64_C(8388607)

static bool unit_text_valid(const char *unit)
{
    size_t length = strlen(unit);
    if (length >= UNIT_SIZE) {
        return false;
    }
    for (size_t i = 0; i < length; i++) {
        if (unit[i] <= ' ' || unit[i] > '~' || unit[i] == ',' || unit[i] == '"') {
            return false;
        }
    }
    return true;
}

int channel_init(struct channel *channel, const char *name, const char *unit, double rate_hz,
                 struct error *error)
{
    size_t length = strlen(name);
    if (!channel_name_valid(name, length)) {
        return error_set(error, ERROR_FORMAT, "channel \"%.60s\": not a channel name", name);
    }
    enum quantity quantity = quantity_from_name(name);
    const char *used = unit ? unit : quantity_unit_default(quantity);
    if (!unit_text_valid(used) || !quantity_unit_valid(quantity, used)) {
        return error_set(error, ERROR_RANGE, "channel %s: unit \"%.20s\" where \"%s\" is expected",
                         name, used, quantity_unit_default(quantity));
    }
    if (!(rate_hz == 0 || (rate_hz >= RATE_LEAST_HZ && rate_hz <= RATE_MOST_HZ))) {
        return error_set(error, ERROR_RANGE, "channel %s: rate_hz %g is not 0 nor within %g to %g",
                         name, rate_hz, RATE_LEAST_HZ, RATE_MOST_HZ);
    }
    *channel = (struct channel){.quantity = quantity, .rate_hz = rate_hz, .step = {1, 0}};
    memcpy(channel->name, name, length + 1);
    memcpy(channel->unit, used, strlen(used) + 1);
    channel->period_ps = channel_period_ps(rate_hz);
    return 0;
}

static bool same_decimal(struct decimal a, struct decimal b)
{
    return a.mantissa == b.mantissa && a.exponent == b.exponent;
}

bool channel_same(const struct channel *a, const struct channel *b)
{
    return strcmp(a->name, b->name) == 0 && strcmp(a->unit, b->unit) == 0 &&
           a->period_ps == b->period_ps && same_decimal(a->step, b->step) &&
           same_decimal(a->offset, b->offset);
}

/* The double nearest to the exact decimal, so that the same value gives the same double whatever
 * step it is stored with. */
double channel_value(const struct channel *channel, int64_t count)
{
    struct decimal value;
    if (decimal_multiply_add(count, channel->step, channel->offset, &value)) {
        return (double)count * decimal_to_double(channel->step) +
               decimal_to_double(channel->offset);
    }
    return decimal_to_double(value);
}

int channel_value_text(const struct channel *channel, int64_t count, char text[DECIMAL_TEXT_SIZE])
{
    struct decimal value;
    if (decimal_multiply_add(count, channel->step, channel->offset, &value)) {
        return -1;
    }
    decimal_format(value, text);
    return 0;
}

bool channel_calibrated(const struct channel *channel)
{
    return channel->unit[0] == '\0' || strcmp(channel->unit, "/") == 0 ||
           calibration_of_unit(&channel->calibration);
}

int channel_calibrate(struct channel *channel, const struct calibration *calibration,
                      struct error *error)
{
    const struct calibration scale = {.gain = calibration->gain};
    struct decimal step, offset, most;
    if (channel->calibration.date_ns != 0) {
        return error_set(error, ERROR_STATE, "channel %s: has a calibration already",
                         channel->name);
    }
    if (calibration_value(&scale, channel->step, &step) != 0 ||
        calibration_value(calibration, channel->offset, &offset) != 0 ||
        decimal_multiply_add(COUNT_OF_24_BITS, step, offset, &most) != 0) {
        return error_set(error, ERROR_RANGE,
                         "channel %s: its calibrated step can't be kept exactly", channel->name);
    }
    channel->step = step;
    channel->offset = offset;
    channel->calibration = *calibration;
    return 0;
}

double channel_reading(const struct channel *channel, double value)
{
    const struct calibration *calibration = &channel->calibration;
    return calibration->date_ns == 0 ? value
                                     : (value - decimal_to_double(calibration->offset)) /
                                           decimal_to_double(calibration->gain);
}

int64_t channel_period_ps(double rate_hz)
{
    if (!(rate_hz >= RATE_LEAST_HZ)) {
        return 0;
    }
    return (int64_t)llround((double)PS_PER_S / rate_hz);
}
