/* What the drivers over the kernel's files share: channels, rounds to samples, faults.
 * Must never be used but by iio.c, hwmon.c and onewire.c. */
#ifndef ROOMWAKE_NODE_DRIVERS_SYSFS_CHANNEL_H
#define ROOMWAKE_NODE_DRIVERS_SYSFS_CHANNEL_H

#include "node/drivers/driver.h"
#include "node/drivers/sysfs_reader.h"

/* The part that turns a file's text into a count; -1 with a reason. */
typedef int (*sysfs_count_of)(const char *text, int32_t *count, struct error *error);

struct sysfs_channels {
    struct sysfs_reader *reader;
    size_t count;
    double rate_hz;
    int64_t period_ps;
    int64_t last_ns; /* of the last round told */
    int64_t opened_ns;
    sysfs_count_of count_of;
};

/* Starts the reader over `paths`. */
int sysfs_channels_start(struct sysfs_channels *channels, const char paths[][SYSFS_PATH_SIZE],
                         size_t count, double rate_hz, sysfs_count_of count_of,
                         const struct driver_setup *setup, struct error *error);
/* As driver_type.poll: tells all rounds that came. A round that failed fails the driver; so does
 * one that takes too long. */
int sysfs_channels_poll(struct sysfs_channels *channels, int64_t now_ns,
                        const struct driver_sink *sink, int64_t *next_ns, struct error *error);
int64_t sysfs_channels_told_ns(const struct sysfs_channels *channels, int64_t now_ns);

/* "root" of the settings, "/sys" where it is not there. */
int sysfs_root(const struct driver_setup *setup, char root[SYSFS_PATH_SIZE], struct error *error);

#endif
