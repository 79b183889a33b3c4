/* An industrial I/O device's files: where they are, what its counts mean.
 * Must never guess a scale that is not there. Used by iio.c and iio_buffer.c. */
#ifndef ROOMWAKE_NODE_DRIVERS_IIO_FILES_H
#define ROOMWAKE_NODE_DRIVERS_IIO_FILES_H

#include "node/drivers/driver.h"
#include "node/drivers/sysfs_reader.h"

#define IIO_AXES 3
#define IIO_NAME_SIZE 32

struct iio_files {
    int patience_ms; /* with the kernel's files */
    char root[SYSFS_PATH_SIZE];
    char folder[SYSFS_PATH_SIZE];
    char device[64]; /* "iio:device0" */
    size_t count;
    char names[IIO_AXES][IIO_NAME_SIZE]; /* "in_magn_x" */
    const char *channels[IIO_AXES];
    const char *unit;
    int scale_exponent; /* from the kernel's unit to ours: gauss to tesla -4, mV to V -3 */
};

/* From settings "root", "device" (a folder's or a part's name), "kind" (magnetometer,
 * accelerometer, voltage) and, for a voltage, "input" (its number). */
int iio_files_open(const struct driver_setup *setup, struct iio_files *files, struct error *error);
/* Fills the channels, with the scale and offset that the kernel tells. */
int iio_files_channels(const struct iio_files *files, double rate_hz, struct channel *channels,
                       size_t size, size_t *count, struct error *error);
/* What an axis shares with the others of its kind: "in_magn_x" -> "in_magn". */
void iio_files_stem(const struct iio_files *files, size_t axis, char stem[IIO_NAME_SIZE]);
/* One of the device's files, by its path below the device's folder. */
int iio_files_read(const struct iio_files *files, const char *name, char text[SYSFS_TEXT_SIZE],
                   struct error *error);
int iio_files_write(const struct iio_files *files, const char *name, const char *text,
                    struct error *error);

#endif
