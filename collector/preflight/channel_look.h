/* What the last half minute of one channel looks like: how many samples, how fast, between which
 * ends, how noisy. Must never judge: preflight.c does. Filled by the preflight's runner, block by
 * block. */
#ifndef ROOMWAKE_COLLECTOR_PREFLIGHT_CHANNEL_LOOK_H
#define ROOMWAKE_COLLECTOR_PREFLIGHT_CHANNEL_LOOK_H

#include <stdint.h>

#include "common/block.h"
#include "common/channel.h"

#define LOOK_LAG_MAX 64u

/* Caller-owned; channel_look_begin. Values are the channel's own unit. */
struct channel_look {
    uint64_t count;
    int64_t first_ns;
    int64_t last_ns;
    double least;
    double most;
    uint64_t at_least; /* samples at the ends */
    uint64_t at_most;
    double sum;
    double step;  /* between neighbouring counts */
    uint32_t lag; /* as many samples as mains periods, nearly */
    double ring[LOOK_LAG_MAX];
    double apart_sum; /* of samples a lag apart */
    uint64_t apart_count;
};

void channel_look_begin(struct channel_look *look, const struct channel *channel, double mains_hz);
void channel_look_take(struct channel_look *look, const struct channel *channel,
                       const struct block *block);

double channel_look_mean(const struct channel_look *look);
/* Samples a second; 0 for fewer than two. */
double channel_look_rate_hz(const struct channel_look *look);
/* Standard deviation of the noise, without mains and drift; NaN where it can't be told. */
double channel_look_noise(const struct channel_look *look);

#endif
