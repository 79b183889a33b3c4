/* From physical values to raw counts.
 * Must never know where the value came from. Called by the sampler and the tests. */
#include "node/world/sensor.h"

#include <math.h>
#include <string.h>

#include "node/world/rng.h"

/* What a usual part of each quantity has. */
static const struct {
    enum quantity quantity;
    const char *unit; /* NULL: any */
    struct decimal step;
    double noise_counts;
    int32_t low;
    int32_t high;
} parts[] = {
    {QUANTITY_MAGNETIC, NULL, {15, -9}, 4.0, -32768, 32767},
    {QUANTITY_ELECTRIC, "count", {1, 0}, 2.0, 0, 1023},
    {QUANTITY_ELECTRIC, NULL, {5, -3}, 2.0, 0, 1023},
    {QUANTITY_TEMPERATURE, NULL, {625, -4}, 0.2, -880, 2000},
    {QUANTITY_MOTION, NULL, {1, 0}, 0.0, 0, 1},
    {QUANTITY_VIBRATION, NULL, {1, -2}, 1.5, -2000, 2000},
    {QUANTITY_SOUND, NULL, {1, -1}, 5.0, 0, 1400},
    {QUANTITY_PRESSURE, NULL, {1, 0}, 2.0, 30000, 110000},
    {QUANTITY_HUMIDITY, NULL, {1, -1}, 1.0, 0, 1000},
    {QUANTITY_BATTERY, NULL, {1, -3}, 1.0, 0, 6000},
};

int sensor_init(struct sensor *sensor, struct channel *channel, uint64_t key, struct error *error)
{
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        if (parts[i].quantity != channel->quantity ||
            (parts[i].unit && strcmp(parts[i].unit, channel->unit) != 0)) {
            continue;
        }
        channel->step = parts[i].step;
        channel->offset = (struct decimal){0, 0};
        *sensor = (struct sensor){.step = decimal_to_double(parts[i].step),
                                  .gain = 1.0,
                                  .noise_counts = parts[i].noise_counts,
                                  .low = parts[i].low,
                                  .high = parts[i].high,
                                  .key = key};
        return 0;
    }
    return error_set(error, ERROR_RANGE, "channel \"%s\": can't be simulated", channel->name);
}

static inline int32_t clip(const struct sensor *sensor, double counts)
{
    if (!(counts > (double)sensor->low)) {
        return sensor->low;
    }
    if (counts >= (double)sensor->high) {
        return sensor->high;
    }
    return (int32_t)lrint(counts);
}

void sensor_read(const struct sensor *sensor, uint64_t first, double *values, int32_t *counts,
                 size_t count)
{
    double scale = sensor->gain / sensor->step;
    double zero = sensor->offset / sensor->step;
    for (size_t i = 0; i < count; i++) {
        values[i] = values[i] * scale - zero;
    }
    if (sensor->noise_counts > 0.0) {
        rng_add_gaussian(sensor->key, first, sensor->noise_counts, values, count);
    }
    for (size_t i = 0; i < count; i++) {
        counts[i] = clip(sensor, values[i]);
    }
}

int32_t sensor_count(const struct sensor *sensor, double value)
{
    return clip(sensor, (value * sensor->gain - sensor->offset) / sensor->step);
}
