/* Timer -> drivers -> cutter -> frames. Opens a failed driver again, with growing pauses, and says
 * in words what fails. Must never drift: each turn's deadline is absolute. */
#ifndef ROOMWAKE_NODE_SAMPLER_H
#define ROOMWAKE_NODE_SAMPLER_H

#include <stdbool.h>
#include <uv.h>

#include "node/config.h"
#include "common/message.h"
#include "node/cutter.h"

struct sampler_setup {
    uv_loop_t *loop;
    struct clock_source clock;
    const struct node_config *config; /* must outlive the sampler */
    uint64_t boot;
    int64_t away_ns;      /* nobody sampled for so long right before; 0: that is not known */
    const char *away_why; /* told with the first frame */
    void *context;
    /* A frame to keep; see cutter_emit. */
    void (*on_frame)(void *context, struct frame *frame);
    /* Whether a driver with more than real time to tell may go on; false holds it back. */
    bool (*may_hurry)(void *context);
    /* A sensor that was missing at the start is there now: `which`, "drivers[1] iio". Its channels
     * are not in this boot's hello, so another boot has to bring them. Told once. */
    void (*on_found)(void *context, const char *which);
};

struct sampler;

/* Opens all drivers. Settings that are wrong are an error; a sensor that is not there is not: the
 * others go on, it is noted and looked for again. */
int sampler_new(const struct sampler_setup *setup, struct sampler **sampler, struct error *error);
const struct channel *sampler_get_channels(const struct sampler *sampler, size_t *count);
void sampler_start(struct sampler *sampler);
/* Takes what the drivers still have, cuts the last frame, closes the timer. */
void sampler_stop(struct sampler *sampler);
/* Cuts a frame of what was handed over so far and asks nobody: the process is about to end. */
void sampler_keep(struct sampler *sampler);
/* Once the loop has closed the timer; also without start. */
void sampler_free(struct sampler *sampler);

/* What fails, in words: "drivers[1] onewire: no answer"; "" while all is well. */
void sampler_note(const struct sampler *sampler, char *note, size_t size);
/* What each channel's samples say of its sensor; returns how many. */
size_t sampler_tell_sensors(const struct sampler *sampler,
                            struct message_sensor sensors[NODE_CHANNELS_MAX]);
/* The most that a driver's samples may be off against the node's clock, one sigma. */
int64_t sampler_clock_sd_ns(const struct sampler *sampler);
/* The last sample of a channel of quantity battery; NaN where there is none. */
double sampler_battery_v(const struct sampler *sampler);

#endif
