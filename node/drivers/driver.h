/* What a driver is: something that hands over raw counts with node times. One file a driver, one
 * exported table; drivers.c lists them. A driver must never scale, average or drop a sample. */
#ifndef ROOMWAKE_NODE_DRIVERS_DRIVER_H
#define ROOMWAKE_NODE_DRIVERS_DRIVER_H

#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/clock.h"
#include "common/error.h"
#include "common/wire.h" /* HOLE_REASON_SIZE */

/* Given to a driver at its making; `channels` is filled by the driver. */
struct driver_setup {
    const cJSON *settings;  /* the driver's own object of the node's config, valid during open */
    const char *path;       /* how errors name it: "drivers[0]" */
    const char *config_dir; /* relative paths in settings start here */
    struct clock_source clock;
    bool again; /* the node is running: others must not wait for this one */
};

/* Where a driver puts its samples; the node's cutter stands behind it. Times strictly rising for
 * each channel. `channel` counts from 0 within the driver's own list. */
struct driver_sink {
    void *context;
    void (*samples)(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                    const int32_t *counts, size_t count);
    /* One sample of a channel that tells only changes (period 0). */
    void (*change)(void *context, size_t channel, int64_t time_ns, int32_t count);
    /* Between these two, the last sample and the next, this channel has none; why, in words. May be
     * NULL: see driver_tell_hole. */
    void (*hole)(void *context, size_t channel, int64_t start_ns, int64_t end_ns,
                 const char *reason);
};

static inline void driver_tell_hole(const struct driver_sink *sink, size_t channel,
                                    int64_t start_ns, int64_t end_ns, const char *reason)
{
    if (sink->hole && end_ns > start_ns) {
        sink->hole(sink->context, channel, start_ns, end_ns, reason);
    }
}

/* A driver's state. */
struct driver;

struct driver_type {
    const char *name; /* as in the config: "simulate" */
    /* Makes the driver and tells its channels (at most `size`); *count is set. ERROR_FORMAT and
     * ERROR_RANGE are for settings that are wrong: with those no node starts. */
    int (*open)(const struct driver_setup *setup, struct driver **driver, struct channel *channels,
                size_t size, size_t *count, struct error *error);
    /* Hands over all samples up to node time now_ns. *next_ns: when to be asked again, node time;
     * INT64_MAX once it has no more to say, ever. A next_ns that is not after now_ns says: there is
     * more, only what lies before next_ns was handed over. -1: failed, to be closed and opened
     * again. */
    int (*poll)(struct driver *driver, int64_t now_ns, const struct driver_sink *sink,
                int64_t *next_ns, struct error *error);
    void (*close)(struct driver *driver);
    /* For a sensor whose samples are under way for a while: all before this were handed over, asked
     * after a poll. NULL: all before that poll's now_ns were. */
    int64_t (*told_ns)(const struct driver *driver, int64_t now_ns);
    /* How far its samples' times may be off against the node's clock, one sigma, as of the last
     * poll. NULL: they are the node's own. */
    int64_t (*clock_sd_ns)(const struct driver *driver);
    /* A sensor that open looks for: a node starts without it too (any other error of open). */
    bool may_be_missing;
    /* The longest pause before it is opened again after a failure; 0 takes a minute. */
    int64_t pause_most_ns;
    /* What fails while the driver itself goes on, in words; "" while all is well. NULL: nothing
     * can. */
    void (*note)(const struct driver *driver, char *note, size_t size);
};

/* NULL-terminated. */
extern const struct driver_type *const driver_types[];
const struct driver_type *driver_find(const char *name);

#endif
