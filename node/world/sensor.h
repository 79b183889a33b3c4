/* From a physical value to raw counts: gain, zero, noise, quantisation, clipping.
 * Must never know where the value came from. Called by the sampler and the tests. */
#ifndef ROOMWAKE_NODE_WORLD_SENSOR_H
#define ROOMWAKE_NODE_WORLD_SENSOR_H

#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/error.h"

/* Caller-owned plain value. */
struct sensor {
    double step;
    double offset;
    double gain; /* 1: true */
    double noise_counts;
    int32_t low;
    int32_t high;
    uint64_t key; /* of its noise */
};

/* Sets the channel's step and offset and the sensor's range to what a usual part of its quantity
 * has: magnetometer 15 nT, antenna on a 10-bit converter, thermometer 1/16 Cel (common practice,
 * no source). ERROR_RANGE for a quantity that can't be simulated. */
int sensor_init(struct sensor *sensor, struct channel *channel, uint64_t key, struct error *error);

/* The counts of `values`; the noise of sample i is that of number first + i. `values` is used up
 * as working space. */
void sensor_read(const struct sensor *sensor, uint64_t first, double *values, int32_t *counts,
                 size_t count);
/* One value without noise. */
int32_t sensor_count(const struct sensor *sensor, double value);

#endif
