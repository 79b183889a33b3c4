/* A magnetometer, an accelerometer or a converter of the kernel's industrial I/O through its
 * buffer: the kernel samples at a trigger and stamps each record; the node reads them from the
 * character device. Settings: device, kind, input, root as iio.c; rate_hz, trigger (a trigger's
 * name, where the part has none of its own), dev ("/dev"). Must never take the time of reading for
 * the time of a sample. Listed in drivers.c. */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "common/json.h"
#include "node/drivers/iio_rate.h"
#include "node/drivers/iio_stream.h"

#define SILENT_NS (5 * NS_PER_S)
#define POLL_NS (NS_PER_S / 20)
#define BUFFER_LENGTH "1024"

extern const struct driver_type driver_iio_buffer;

struct driver {
    struct iio_files files;
    struct iio_scan scan; /* the time is its last part */
    struct iio_stream *stream;
    struct clock_source clock;
    int64_t period_ps;
    int64_t last_ns; /* of the last sample told; at first when it was opened */
};

static const char *const fields[] = {"root",  "dev",     "device",  "kind",
                                     "input", "rate_hz", "trigger", NULL};

/* Switches one part of the record on and reads where and how it lies. */
static int choose_part(const struct iio_files *files, const char *name, struct iio_scan_part *part,
                       struct error *error)
{
    char rest[96], text[SYSFS_TEXT_SIZE];
    (void)snprintf(rest, sizeof rest, "scan_elements/%s_en", name);
    if (iio_files_write(files, rest, "1", error)) {
        return -1;
    }
    (void)snprintf(rest, sizeof rest, "scan_elements/%s_type", name);
    if (iio_files_read(files, rest, text, error) || iio_scan_parse(text, part, error)) {
        return -1;
    }
    (void)snprintf(rest, sizeof rest, "scan_elements/%s_index", name);
    if (iio_files_read(files, rest, text, error)) {
        return -1;
    }
    return sscanf(text, "%u", &part->index) == 1 && part->index < 1000
               ? 0
               : error_set(error, ERROR_STATE, "%s: \"%.20s\" is no place", name, text);
}

static int choose_parts(struct driver *driver, struct error *error)
{
    struct iio_scan *scan = &driver->scan;
    for (size_t i = 0; i < driver->files.count; i++) {
        if (choose_part(&driver->files, driver->files.names[i], &scan->parts[i], error)) {
            return -1;
        }
        if (scan->parts[i].bits > 32 || (scan->parts[i].bits == 32 && !scan->parts[i].is_signed)) {
            return error_set(error, ERROR_STATE, "%s: more than a sample's 32 bits",
                             driver->files.names[i]);
        }
    }
    scan->count = driver->files.count + 1;
    if (choose_part(&driver->files, "in_timestamp", &scan->parts[driver->files.count], error)) {
        return -1;
    }
    iio_scan_lay_out(scan);
    return scan->size <= IIO_RECORD_MOST
               ? 0
               : error_set(error, ERROR_STATE, "a record of %zu bytes is too long", scan->size);
}

static int set_up(struct driver *driver, const struct driver_setup *setup, double *rate_hz,
                  struct error *error)
{
    char trigger[64];
    struct error ignored; /* it may be off already */
    if (json_get_text_or(setup->settings, setup->path, "trigger", "", trigger, sizeof trigger,
                         error)) {
        return -1;
    }
    (void)iio_files_write(&driver->files, "buffer/enable", "0", &ignored);
    if (iio_rate_set(&driver->files, trigger, rate_hz, error) ||
        (trigger[0] &&
         iio_files_write(&driver->files, "trigger/current_trigger", trigger, error)) ||
        iio_files_write(&driver->files, "current_timestamp_clock", "monotonic_raw", error) ||
        choose_parts(driver, error) ||
        iio_files_write(&driver->files, "buffer/length", BUFFER_LENGTH, error)) {
        return -1;
    }
    return iio_files_write(&driver->files, "buffer/enable", "1", error);
}

static int start(struct driver *driver, const struct driver_setup *setup, struct error *error)
{
    char dev[SYSFS_PATH_SIZE], path[SYSFS_PATH_SIZE];
    if (json_get_text_or(setup->settings, setup->path, "dev", "/dev", dev, sizeof dev, error) ||
        sysfs_join(path, dev, driver->files.device, error)) {
        return -1;
    }
    int file = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (file < 0) {
        return error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
    }
    driver->stream = iio_stream_start(file, driver->scan.size);
    return driver->stream ? 0 : error_set(error, ERROR_MEMORY, "%s: no thread", path);
}

static void iio_buffer_close(struct driver *driver)
{
    struct error ignored; /* a part that is gone can't be switched off */
    iio_stream_stop(driver->stream);
    (void)iio_files_write(&driver->files, "buffer/enable", "0", &ignored);
    free(driver);
}

static int open_all(struct driver *driver, const struct driver_setup *setup,
                    struct channel *channels, size_t size, size_t *count, struct error *error)
{
    double rate_hz;
    if (json_check_fields(setup->settings, setup->path, fields, error) ||
        json_get_number_or(setup->settings, setup->path, "rate_hz", 0.1, 5000.0, 50.0, &rate_hz,
                           error) ||
        iio_files_open(setup, &driver->files, error) || set_up(driver, setup, &rate_hz, error) ||
        iio_files_channels(&driver->files, rate_hz, channels, size, count, error)) {
        return -1;
    }
    driver->period_ps = channels[0].period_ps;
    return start(driver, setup, error);
}

static int iio_buffer_open(const struct driver_setup *setup, struct driver **out,
                           struct channel *channels, size_t size, size_t *count,
                           struct error *error)
{
    struct driver *driver = calloc(1, sizeof *driver);
    if (!driver) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    driver->clock = setup->clock;
    driver->last_ns = setup->clock.mono_ns(setup->clock.context);
    if (open_all(driver, setup, channels, size, count, error)) {
        iio_buffer_close(driver);
        return error_wrap(error, "%s", setup->path);
    }
    *out = driver;
    return 0;
}

/* The kernel's raw clock is the node's own, but for what a test puts between. */
static int64_t clock_offset_ns(const struct driver *driver)
{
    struct timespec raw;
    int64_t before_ns = driver->clock.mono_ns(driver->clock.context);
    clock_gettime(CLOCK_MONOTONIC_RAW, &raw); /* what the kernel stamps by */
    int64_t after_ns = driver->clock.mono_ns(driver->clock.context);
    return before_ns + (after_ns - before_ns) / 2 - (raw.tv_sec * NS_PER_S + raw.tv_nsec);
}

static int iio_buffer_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                           int64_t *next_ns, struct error *error)
{
    uint8_t record[IIO_RECORD_MOST];
    int64_t offset_ns = clock_offset_ns(driver);
    const struct iio_scan *scan = &driver->scan;
    int got;
    while ((got = iio_stream_take(driver->stream, record, error)) == 1) {
        int64_t time_ns = iio_scan_value(&scan->parts[driver->files.count], record) + offset_ns;
        if (time_ns > now_ns + NS_PER_S) {
            return error_set(error, ERROR_RANGE, "a sample's time lies in the future");
        }
        if (time_ns <= driver->last_ns) {
            continue; /* from before it was opened */
        }
        for (size_t i = 0; i < driver->files.count; i++) {
            int32_t count = (int32_t)iio_scan_value(&scan->parts[i], record);
            sink->samples(sink->context, i, time_ns, driver->period_ps, &count, 1);
        }
        driver->last_ns = time_ns;
    }
    if (got < 0) {
        return -1;
    }
    if (now_ns - driver->last_ns > SILENT_NS + 2 * (driver->period_ps / 1000)) {
        return error_set(error, ERROR_IO, "no samples for %.1f s: is its trigger running?",
                         (double)(now_ns - driver->last_ns) / 1e9);
    }
    *next_ns = now_ns + POLL_NS;
    return 0;
}

static int64_t iio_buffer_told_ns(const struct driver *driver, int64_t now_ns)
{
    return driver->last_ns + 1 < now_ns ? driver->last_ns + 1 : now_ns;
}

const struct driver_type driver_iio_buffer = {.name = "iio-buffer",
                                              .open = iio_buffer_open,
                                              .poll = iio_buffer_poll,
                                              .close = iio_buffer_close,
                                              .told_ns = iio_buffer_told_ns,
                                              .may_be_missing = true};
