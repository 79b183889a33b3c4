/* A motion sensor on a GPIO line: both edges, with the kernel's own time of each.
 * Must never tell the edges of a sensor that is still warming up. Listed in drivers.c where
 * libgpiod is there. */
#include <errno.h>
#include <gpiod.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "common/json.h"
#include "node/drivers/driver.h"

#define POLL_NS (NS_PER_S / 20)

extern const struct driver_type driver_gpio;

struct driver {
    char name[64];
    unsigned number;
    bool active_low;
    struct gpiod_chip *chip; /* NULL: not open yet */
    struct gpiod_line *line;
    struct clock_source clock;
    int64_t ready_ns; /* the sensor is warm */
    bool begun;
    int64_t last_ns;
    int32_t level;
};

static const char *const fields[] = {"chip", "line", "channel", "active_low", "warm_up_s", NULL};

static void gpio_close(struct driver *driver)
{
    if (driver->line) {
        gpiod_line_release(driver->line);
    }
    if (driver->chip) {
        gpiod_chip_close(driver->chip);
    }
    free(driver);
}

static int request(struct driver *driver, struct error *error)
{
    driver->chip = gpiod_chip_open_lookup(driver->name);
    if (!driver->chip) {
        return error_set(error, ERROR_IO, "%s: %s", driver->name, strerror(errno));
    }
    struct gpiod_line *found = gpiod_chip_get_line(driver->chip, driver->number);
    int flags = driver->active_low ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0;
    if (!found || gpiod_line_request_both_edges_events_flags(found, "roomwake-node", flags)) {
        return error_set(error, ERROR_IO, "%s line %u: %s", driver->name, driver->number,
                         strerror(errno));
    }
    driver->line = found;
    return 0;
}

/* The chip itself is opened by the first poll, so that a node starts without it. */
static int gpio_open(const struct driver_setup *setup, struct driver **out,
                     struct channel *channels, size_t size, size_t *count, struct error *error)
{
    const cJSON *json = setup->settings;
    char chip[64], name[CHANNEL_NAME_SIZE];
    double line, warm_up_s;
    bool active_low;
    if (json_check_fields(json, setup->path, fields, error) ||
        json_get_text_or(json, setup->path, "chip", "gpiochip0", chip, sizeof chip, error) ||
        json_get_number(json, setup->path, "line", 0, 1023, &line, error) ||
        json_get_text_or(json, setup->path, "channel", "motion", name, sizeof name, error) ||
        json_get_bool_or(json, setup->path, "active_low", false, &active_low, error) ||
        json_get_number_or(json, setup->path, "warm_up_s", 0, 600, 60, &warm_up_s, error)) {
        return -1;
    }
    if (size < 1 || channel_init(&channels[0], name, NULL, 0, error)) {
        return size < 1 ? error_set(error, ERROR_RANGE, "%s: no room for a channel", setup->path)
                        : error_wrap(error, "%s", setup->path);
    }
    struct driver *driver = calloc(1, sizeof *driver);
    if (!driver) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", setup->path);
    }
    driver->clock = setup->clock;
    driver->ready_ns = setup->clock.mono_ns(setup->clock.context) + (int64_t)(warm_up_s * 1e9);
    memcpy(driver->name, chip, sizeof driver->name);
    driver->number = (unsigned)line;
    driver->active_low = active_low;
    *count = 1;
    *out = driver;
    return 0;
}

/* The kernel stamps edges by its slewed monotonic clock, the node counts by the raw one. */
static int64_t node_time_ns(const struct driver *driver, const struct timespec *edge)
{
    struct timespec slewed;
    int64_t now_ns = driver->clock.mono_ns(driver->clock.context);
    clock_gettime(CLOCK_MONOTONIC, &slewed);
    int64_t ago_ns = (slewed.tv_sec - edge->tv_sec) * NS_PER_S + slewed.tv_nsec - edge->tv_nsec;
    return now_ns - (ago_ns > 0 ? ago_ns : 0);
}

static void tell(struct driver *driver, int64_t time_ns, int32_t level,
                 const struct driver_sink *sink)
{
    if (driver->begun && level == driver->level) {
        return;
    }
    driver->last_ns = time_ns > driver->last_ns ? time_ns : driver->last_ns + 1;
    driver->level = level;
    driver->begun = true;
    sink->change(sink->context, 0, driver->last_ns, level);
}

static int gpio_poll(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                     int64_t *next_ns, struct error *error)
{
    static const struct timespec at_once = {0, 0};
    int waiting;
    if (!driver->line && request(driver, error)) {
        return -1;
    }
    while ((waiting = gpiod_line_event_wait(driver->line, &at_once)) > 0) {
        struct gpiod_line_event event;
        if (gpiod_line_event_read(driver->line, &event)) {
            waiting = -1;
            break;
        }
        int64_t time_ns = node_time_ns(driver, &event.ts);
        if (time_ns >= driver->ready_ns) {
            tell(driver, time_ns, event.event_type == GPIOD_LINE_EVENT_RISING_EDGE, sink);
        }
    }
    if (waiting < 0) {
        return error_set(error, ERROR_IO, "edges: %s", strerror(errno));
    }
    if (!driver->begun && now_ns >= driver->ready_ns) {
        tell(driver, now_ns, gpiod_line_get_value(driver->line) > 0, sink);
    }
    *next_ns = now_ns + POLL_NS;
    return 0;
}

const struct driver_type driver_gpio = {
    .name = "gpio", .open = gpio_open, .poll = gpio_poll, .close = gpio_close};
