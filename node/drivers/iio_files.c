/* Finds a device by its folder or its part's name; reads scale and offset, for each axis or for
 * all. Must never open the device itself. Called by iio.c and iio_buffer.c. */
#include "node/drivers/iio_files.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "common/json.h"
#include "node/drivers/sysfs_channel.h"

#define DEVICES_MAX 32

static const struct kind {
    const char *name;
    const char *unit;
    int scale_exponent;
    size_t count;
    const char *files[IIO_AXES];
    const char *channels[IIO_AXES];
} kinds[] = {
    {"magnetometer",
     "T",
     -4,
     3,
     {"in_magn_x", "in_magn_y", "in_magn_z"},
     {"magnetic.x", "magnetic.y", "magnetic.z"}},
    {"accelerometer",
     "m/s2",
     0,
     3,
     {"in_accel_x", "in_accel_y", "in_accel_z"},
     {"vibration.x", "vibration.y", "vibration.z"}},
    {"voltage", "V", -3, 1, {"in_voltage"}, {"electric"}},
};

/* The folder whose file "name" says `part`. */
static int find_part(const char *root, const char *part, struct iio_files *files,
                     struct error *error)
{
    char path[SYSFS_PATH_SIZE], rest[128], text[SYSFS_TEXT_SIZE];
    struct error ignored;
    for (int i = 0; i < DEVICES_MAX; i++) {
        (void)snprintf(rest, sizeof rest, "bus/iio/devices/iio:device%d/name", i);
        if (sysfs_join(path, root, rest, error)) {
            return -1;
        }
        if (sysfs_read_text(path, text, sizeof text, &ignored) == 0 && strcmp(text, part) == 0) {
            (void)snprintf(files->device, sizeof files->device, "iio:device%d", i);
            return 0;
        }
    }
    return error_set(error, ERROR_NOT_FOUND, "%s: no device is called \"%s\"", root, part);
}

static int choose_kind(const struct driver_setup *setup, struct iio_files *files,
                       struct error *error)
{
    char name[32];
    double input;
    if (json_get_text(setup->settings, setup->path, "kind", name, sizeof name, error) ||
        json_get_number_or(setup->settings, setup->path, "input", 0, 63, 0, &input, error)) {
        return -1;
    }
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
        if (strcmp(kinds[k].name, name) == 0) {
            files->count = kinds[k].count;
            files->unit = kinds[k].unit;
            files->scale_exponent = kinds[k].scale_exponent;
            for (size_t i = 0; i < files->count; i++) {
                (void)snprintf(files->names[i], sizeof files->names[i], "%s", kinds[k].files[i]);
                files->channels[i] = kinds[k].channels[i];
            }
            if (files->count == 1) {
                (void)snprintf(files->names[0], sizeof files->names[0], "in_voltage%d", (int)input);
            }
            return 0;
        }
    }
    return error_set(error, ERROR_FORMAT,
                     "%s.kind: must be \"magnetometer\", \"accelerometer\" or \"voltage\"",
                     setup->path);
}

int iio_files_open(const struct driver_setup *setup, struct iio_files *files, struct error *error)
{
    char root[SYSFS_PATH_SIZE], device[64], rest[128];
    *files = (struct iio_files){0};
    if (sysfs_root(setup, root, error) ||
        json_get_text(setup->settings, setup->path, "device", device, sizeof device, error) ||
        choose_kind(setup, files, error)) {
        return -1;
    }
    if (strncmp(device, "iio:device", 10) == 0) {
        (void)snprintf(files->device, sizeof files->device, "%s", device);
    } else if (find_part(root, device, files, error)) {
        return error_wrap(error, "%s.device", setup->path);
    }
    (void)snprintf(rest, sizeof rest, "bus/iio/devices/%s", files->device);
    return sysfs_join(files->folder, root, rest, error);
}

/* "in_magn_x_scale", or "in_magn_scale" for all axes; "in_voltage0_scale", or "in_voltage_scale".
 * 1: neither is there. */
static int read_shared(const struct iio_files *files, size_t axis, const char *what,
                       struct decimal *value, struct error *error)
{
    char path[SYSFS_PATH_SIZE], rest[64], shared[32];
    (void)snprintf(rest, sizeof rest, "%s_%s", files->names[axis], what);
    if (sysfs_join(path, files->folder, rest, error)) {
        return -1;
    }
    if (access(path, F_OK) == 0) {
        return sysfs_read_decimal(path, value, error);
    }
    (void)snprintf(shared, sizeof shared, "%s", files->names[axis]);
    size_t length = strlen(shared);
    while (length > 0 && ((shared[length - 1] >= '0' && shared[length - 1] <= '9') ||
                          shared[length - 1] == '_' || strchr("xyz", shared[length - 1]))) {
        shared[--length] = '\0';
    }
    (void)snprintf(rest, sizeof rest, "%s_%s", shared, what);
    if (sysfs_join(path, files->folder, rest, error)) {
        return -1;
    }
    return access(path, F_OK) == 0 ? sysfs_read_decimal(path, value, error) : 1;
}

int iio_files_channels(const struct iio_files *files, double rate_hz, struct channel *channels,
                       size_t size, size_t *count, struct error *error)
{
    if (files->count > size) {
        return error_set(error, ERROR_RANGE, "no room for %zu channels", files->count);
    }
    for (size_t i = 0; i < files->count; i++) {
        struct decimal scale, offset = {0, 0};
        int64_t raw_offset;
        int got = read_shared(files, i, "scale", &scale, error);
        if (got) {
            return got < 0 ? -1
                           : error_set(error, ERROR_NOT_FOUND, "%s: no scale of %s", files->folder,
                                       files->names[i]);
        }
        if (read_shared(files, i, "offset", &offset, error) < 0 ||
            channel_init(&channels[i], files->channels[i], files->unit, rate_hz, error)) {
            return -1;
        }
        scale.exponent = (int16_t)(scale.exponent + files->scale_exponent);
        channels[i].step = scale;
        /* The kernel's offset is in counts, before the scale. */
        if (scale.mantissa == 0 || decimal_rescale(offset, 0, &raw_offset) ||
            decimal_multiply_add(raw_offset, scale, (struct decimal){0, 0}, &channels[i].offset)) {
            return error_set(error, ERROR_RANGE, "%s: scale or offset of %s can't be kept",
                             files->folder, files->names[i]);
        }
    }
    *count = files->count;
    return 0;
}
