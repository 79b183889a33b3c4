/* A temperature of the kernel's hwmon: temp1_input in thousandths of a degree
 * (Documentation/hwmon/sysfs-interface).
 * Must never smooth. Listed in drivers.c. */
#include <stdio.h>
#include <stdlib.h>

#include "common/json.h"
#include "node/drivers/sysfs_channel.h"

extern const struct driver_type driver_hwmon;

struct driver {
    struct sysfs_channels channels;
};

static const char *const fields[] = {"root", "device", "input", "channel", "rate_hz", NULL};

static void hwmon_close(struct driver *driver)
{
    sysfs_reader_stop(driver->channels.reader);
    free(driver);
}

static int hwmon_open(const struct driver_setup *setup, struct driver **out,
                      struct channel *channels, size_t size, size_t *count, struct error *error)
{
    const cJSON *json = setup->settings;
    char root[SYSFS_PATH_SIZE], device[64], input[64], name[CHANNEL_NAME_SIZE], rest[256];
    char paths[1][SYSFS_PATH_SIZE];
    double rate_hz;
    if (json_check_fields(json, setup->path, fields, error) || sysfs_root(setup, root, error) ||
        json_get_text_or(json, setup->path, "device", "hwmon0", device, sizeof device, error) ||
        json_get_text_or(json, setup->path, "input", "temp1_input", input, sizeof input, error) ||
        json_get_text_or(json, setup->path, "channel", "temperature", name, sizeof name, error) ||
        json_get_number_or(json, setup->path, "rate_hz", 0.01, 10.0, 1.0, &rate_hz, error)) {
        return -1;
    }
    if (size < 1) {
        return error_set(error, ERROR_RANGE, "%s: no room for a channel", setup->path);
    }
    (void)snprintf(rest, sizeof rest, "class/hwmon/%s/%s", device, input);
    if (sysfs_join(paths[0], root, rest, error) ||
        channel_init(&channels[0], name, "Cel", rate_hz, error)) {
        return error_wrap(error, "%s", setup->path);
    }
    channels[0].step = (struct decimal){1, -3};
    struct driver *driver = calloc(1, sizeof *driver);
    if (!driver || sysfs_channels_start(&driver->channels, paths, 1, rate_hz, sysfs_parse_count,
                                        setup, error)) {
        free(driver);
        return driver ? -1 : error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    *count = 1;
    *out = driver;
    return 0;
}

static int hwmon_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                      int64_t *next_ns, struct error *error)
{
    return sysfs_channels_poll(&driver->channels, now_ns, sink, next_ns, error);
}

static int64_t hwmon_told_ns(const struct driver *driver, int64_t now_ns)
{
    return sysfs_channels_told_ns(&driver->channels, now_ns);
}

const struct driver_type driver_hwmon = {.name = "hwmon",
                                         .open = hwmon_open,
                                         .poll = hwmon_poll,
                                         .close = hwmon_close,
                                         .told_ns = hwmon_told_ns};
