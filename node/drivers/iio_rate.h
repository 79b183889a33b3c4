/* At what rate an industrial I/O device samples by itself: asked for, and as it took it. The
 * setting has several places (Documentation/ABI/testing/sysfs-bus-iio): for each axis, for a kind
 * of channel, for the device, for its buffer, and at a trigger of its own. Must never say the rate
 * that was asked for where the kernel tells another. Used by iio_buffer.c. */
#ifndef ROOMWAKE_NODE_DRIVERS_IIO_RATE_H
#define ROOMWAKE_NODE_DRIVERS_IIO_RATE_H

#include "node/drivers/iio_files.h"

/* Sets what there is to set, to the nearest rate that is said to be available; `trigger` "" where
 * the device has its own. *rate_hz becomes what was taken, and stays where nothing can be set. */
int iio_rate_set(const struct iio_files *files, const char *trigger, double *rate_hz,
                 struct error *error);

#endif
