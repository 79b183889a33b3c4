/* A thermometer on the kernel's one-wire bus: w1_slave, whose first line ends in YES where the
 * checksum fits and whose second ends in t=MILLIDEGREES (Documentation/w1/slaves/w1_therm).
 * Must never pass on a value whose checksum is wrong, nor the power-on value. Listed in drivers.c.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "node/drivers/sysfs_channel.h"

extern const struct driver_type driver_onewire;

struct driver {
    struct sysfs_channels channels;
};

static const char *const fields[] = {"root", "device", "channel", "rate_hz", NULL};

#define POWER_ON_MILLIDEGREES 85000
/* The range of the usual parts (their datasheet's first page; common practice). */
#define LEAST_MILLIDEGREES (-55000)
#define MOST_MILLIDEGREES 125000

static int count_of(const char *text, int32_t *count, struct error *error)
{
    const char *value = strstr(text, "t=");
    if (!strstr(text, "YES") || !value) {
        return error_set(error, ERROR_CHECKSUM, "the thermometer's checksum is wrong");
    }
    if (sysfs_parse_count(value + 2, count, error)) {
        return -1;
    }
    if (*count == POWER_ON_MILLIDEGREES) {
        return error_set(error, ERROR_STATE, "the thermometer did not convert (85 degrees)");
    }
    return 0;
}

static void onewire_close(struct driver *driver)
{
    sysfs_reader_stop(driver->channels.reader);
    free(driver);
}

static int onewire_open(const struct driver_setup *setup, struct driver **out,
                        struct channel *channels, size_t size, size_t *count, struct error *error)
{
    const cJSON *json = setup->settings;
    char root[SYSFS_PATH_SIZE], device[64], name[CHANNEL_NAME_SIZE], rest[256];
    char paths[1][SYSFS_PATH_SIZE];
    double rate_hz;
    if (json_check_fields(json, setup->path, fields, error) || sysfs_root(setup, root, error) ||
        json_get_text(json, setup->path, "device", device, sizeof device, error) ||
        json_get_text_or(json, setup->path, "channel", "temperature", name, sizeof name, error) ||
        json_get_number_or(json, setup->path, "rate_hz", 0.01, 1.0, 0.5, &rate_hz, error)) {
        return -1;
    }
    if (size < 1) {
        return error_set(error, ERROR_RANGE, "%s: no room for a channel", setup->path);
    }
    (void)snprintf(rest, sizeof rest, "bus/w1/devices/%s/w1_slave", device);
    if (sysfs_join(paths[0], root, rest, error) ||
        channel_init(&channels[0], name, "Cel", rate_hz, error)) {
        return error_wrap(error, "%s", setup->path);
    }
    channels[0].step = (struct decimal){1, -3};
    channels[0].least = LEAST_MILLIDEGREES;
    channels[0].most = MOST_MILLIDEGREES;
    struct driver *driver = calloc(1, sizeof *driver);
    if (!driver ||
        sysfs_channels_start(&driver->channels, paths, 1, rate_hz, count_of, setup, error)) {
        free(driver);
        return driver ? -1 : error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    *count = 1;
    *out = driver;
    return 0;
}

static int onewire_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                        int64_t *next_ns, struct error *error)
{
    return sysfs_channels_poll(&driver->channels, now_ns, sink, next_ns, error);
}

static int64_t onewire_told_ns(const struct driver *driver, int64_t now_ns)
{
    return sysfs_channels_told_ns(&driver->channels, now_ns);
}

const struct driver_type driver_onewire = {.name = "onewire",
                                           .open = onewire_open,
                                           .poll = onewire_poll,
                                           .close = onewire_close,
                                           .told_ns = onewire_told_ns};
