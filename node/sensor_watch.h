/* What a channel's samples say of its sensor: the rate at which they really come, its noise,
 * whether it is stuck or at the end of its range, how long it was missing. Pure: must never read a
 * clock, nor change, hold back or judge a sample. Called by sampler.c. */
#ifndef ROOMWAKE_NODE_SENSOR_WATCH_H
#define ROOMWAKE_NODE_SENSOR_WATCH_H

#include <stdbool.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/clock.h"
#include "common/message.h"

#define SENSOR_WATCH_DIFFERENCES 128

/* Caller-owned; start from {0}. */
struct sensor_watch {
    bool any;
    bool afresh;      /* after a hole the stretch begins with the next sample */
    int64_t first_ns; /* of the stretch whose rate is measured */
    int64_t last_ns;
    uint64_t intervals; /* in it */
    double rate_hz;     /* of the last whole stretch; 0 before */
    int32_t count;
    uint64_t steps; /* between samples, those of a stuck run left out */
    uint64_t changes;
    uint64_t run;         /* equal samples in a row */
    int64_t run_since_ns; /* the first of them */
    uint64_t clipped;
    int64_t clipped_ns; /* the last of them */
    int64_t missing_ns;
    uint32_t differences[SENSOR_WATCH_DIFFERENCES];
    uint64_t difference_count;
};

void sensor_watch_sample(struct sensor_watch *watch, const struct channel *channel, int64_t time_ns,
                         int32_t count);
/* No samples between these two. */
void sensor_watch_hole(struct sensor_watch *watch, int64_t start_ns, int64_t end_ns);

/* An evenly sampled channel that used to change from sample to sample and gives the same count so
 * often that its own noise would do so once in 10^12 times. */
bool sensor_watch_stuck(const struct sensor_watch *watch, const struct channel *channel);
/* It was at the end of its range within the last ten seconds of its own time. */
bool sensor_watch_clipped(const struct sensor_watch *watch);
void sensor_watch_tell(const struct sensor_watch *watch, const struct channel *channel,
                       struct message_sensor *told);

#endif
