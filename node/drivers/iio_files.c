/* Finds a device by its folder or its part's name; reads scale and offset, for each axis or for
 * all. Must never open the device itself. Called by iio.c and iio_buffer.c. */
#include "node/drivers/iio_files.h"

#include <stdio.h>
#include <string.h>

#include "common/json.h"
#include "node/drivers/sysfs_ask.h"
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
        if (sysfs_ask_text(path, files->patience_ms, text, sizeof text, &ignored) == 0 &&
            strcmp(text, part) == 0) {
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
    char device[64], rest[128];
    *files =
        (struct iio_files){.patience_ms = setup->again ? SYSFS_ASK_AGAIN_MS : SYSFS_ASK_FIRST_MS};
    if (sysfs_root(setup, files->root, error) ||
        json_get_text(setup->settings, setup->path, "device", device, sizeof device, error) ||
        choose_kind(setup, files, error)) {
        return -1;
    }
    if (strncmp(device, "iio:device", 10) == 0) {
        (void)snprintf(files->device, sizeof files->device, "%s", device);
    } else if (find_part(files->root, device, files, error)) {
        return error_wrap(error, "%s.device", setup->path);
    }
    (void)snprintf(rest, sizeof rest, "bus/iio/devices/%s", files->device);
    return sysfs_join(files->folder, files->root, rest, error);
}

void iio_files_stem(const struct iio_files *files, size_t axis, char stem[IIO_NAME_SIZE])
{
    (void)snprintf(stem, IIO_NAME_SIZE, "%s", files->names[axis]);
    size_t length = strlen(stem);
    while (length > 0 && ((stem[length - 1] >= '0' && stem[length - 1] <= '9') ||
                          stem[length - 1] == '_' || strchr("xyz", stem[length - 1]))) {
        stem[--length] = '\0';
    }
}

int iio_files_read(const struct iio_files *files, const char *name, char text[SYSFS_TEXT_SIZE],
                   struct error *error)
{
    char path[SYSFS_PATH_SIZE];
    return sysfs_join(path, files->folder, name, error)
               ? -1
               : sysfs_ask_text(path, files->patience_ms, text, SYSFS_TEXT_SIZE, error);
}

int iio_files_write(const struct iio_files *files, const char *name, const char *text,
                    struct error *error)
{
    char path[SYSFS_PATH_SIZE];
    return sysfs_join(path, files->folder, name, error)
               ? -1
               : sysfs_ask_write(path, files->patience_ms, text, error);
}

/* 1: the file is not there. */
static int ask_decimal(const struct iio_files *files, const char *stem, const char *what,
                       struct decimal *value, struct error *error)
{
    char path[SYSFS_PATH_SIZE], rest[64];
    struct error why;
    (void)snprintf(rest, sizeof rest, "%s_%s", stem, what);
    if (sysfs_join(path, files->folder, rest, error)) {
        return -1;
    }
    if (sysfs_ask_decimal(path, files->patience_ms, value, &why) == 0) {
        return 0;
    }
    if (why.code == ERROR_NOT_FOUND) {
        return 1;
    }
    *error = why;
    return -1;
}

/* "in_magn_x_scale", or "in_magn_scale" for all axes; "in_voltage0_scale", or "in_voltage_scale".
 * 1: neither is there. */
static int read_shared(const struct iio_files *files, size_t axis, const char *what,
                       struct decimal *value, struct error *error)
{
    char stem[IIO_NAME_SIZE];
    int got = ask_decimal(files, files->names[axis], what, value, error);
    if (got != 1) {
        return got;
    }
    iio_files_stem(files, axis, stem);
    return ask_decimal(files, stem, what, value, error);
}

/* "[-2048 1 2047]" of NAME_raw_available, or "le:s12/16>>4" of scan_elements/NAME_type: the ends of
 * what the converter can say. Where neither is there, or says nothing of use, nothing is told. */
static void read_ends(const struct iio_files *files, size_t axis, struct channel *channel)
{
    char rest[96], text[SYSFS_TEXT_SIZE], sign;
    struct error ignored;
    long least, step, most;
    int bits;
    (void)snprintf(rest, sizeof rest, "%s_raw_available", files->names[axis]);
    if (iio_files_read(files, rest, text, &ignored) == 0 &&
        sscanf(text, "[%ld %ld %ld]", &least, &step, &most) == 3 && least < most &&
        least >= INT32_MIN && most <= INT32_MAX) {
        channel->least = (int32_t)least;
        channel->most = (int32_t)most;
        return;
    }
    (void)snprintf(rest, sizeof rest, "scan_elements/%s_type", files->names[axis]);
    if (iio_files_read(files, rest, text, &ignored) == 0 &&
        sscanf(text, "%*2c:%c%d/", &sign, &bits) == 2 && (sign == 's' || sign == 'u') && bits > 0 &&
        bits < 32) {
        channel->least = sign == 's' ? -(1 << (bits - 1)) : 0;
        channel->most = sign == 's' ? (1 << (bits - 1)) - 1 : (int32_t)((1U << bits) - 1);
    }
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
        read_ends(files, i, &channels[i]);
        scale.exponent = (int16_t)(scale.exponent + files->scale_exponent);
        channels[i].step = scale;
        /* The kernel's offset is in counts, before the scale. */
        if (scale.mantissa == 0 || decimal_rescale(offset, 0, &raw_offset) ||
            decimal_multiply_add(raw_offset, scale, (struct decimal){0, 0}, &channels[i].offset)) {
            return error_set(error, ERROR_STATE, "%s: scale or offset of %s can't be kept",
                             files->folder, files->names[i]);
        }
    }
    *count = files->count;
    return 0;
}
