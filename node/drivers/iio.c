/* A magnetometer, an accelerometer or a converter of the kernel's industrial I/O, read through its
 * files one value at a time (Documentation/ABI/testing/sysfs-bus-iio).
 * Must never round a scale: it is kept as the kernel's decimal text. Listed in drivers.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "node/drivers/iio_files.h"
#include "node/drivers/sysfs_channel.h"

extern const struct driver_type driver_iio;

struct driver {
    struct sysfs_channels channels;
};

static const char *const fields[] = {"root", "device", "kind", "input", "rate_hz", NULL};

static void iio_close(struct driver *driver)
{
    sysfs_reader_stop(driver->channels.reader);
    free(driver);
}

static int iio_open(const struct driver_setup *setup, struct driver **out, struct channel *channels,
                    size_t size, size_t *count, struct error *error)
{
    struct iio_files files;
    char paths[IIO_AXES][SYSFS_PATH_SIZE];
    double rate_hz;
    if (json_check_fields(setup->settings, setup->path, fields, error) ||
        json_get_number_or(setup->settings, setup->path, "rate_hz", 0.1, 100.0, 10.0, &rate_hz,
                           error) ||
        iio_files_open(setup, &files, error) ||
        iio_files_channels(&files, rate_hz, channels, size, count, error)) {
        return -1;
    }
    for (size_t i = 0; i < *count; i++) {
        char rest[SYSFS_TEXT_SIZE];
        (void)snprintf(rest, sizeof rest, "%s_raw", files.names[i]);
        if (sysfs_join(paths[i], files.folder, rest, error)) {
            return -1;
        }
    }
    struct driver *driver = calloc(1, sizeof *driver);
    if (!driver || sysfs_channels_start(&driver->channels, paths, *count, rate_hz,
                                        sysfs_parse_count, setup, error)) {
        free(driver);
        return driver ? -1 : error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    *out = driver;
    return 0;
}

static int iio_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                    int64_t *next_ns, struct error *error)
{
    return sysfs_channels_poll(&driver->channels, now_ns, sink, next_ns, error);
}

static int64_t iio_told_ns(const struct driver *driver, int64_t now_ns)
{
    return sysfs_channels_told_ns(&driver->channels, now_ns);
}

const struct driver_type driver_iio = {.name = "iio",
                                       .open = iio_open,
                                       .poll = iio_poll,
                                       .close = iio_close,
                                       .told_ns = iio_told_ns,
                                       .may_be_missing = true};
