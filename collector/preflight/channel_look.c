/* Sums over samples. Noise is told from differences over whole mains periods: for normal noise
 * their mean size is 2 sigma / sqrt(pi). Must never keep more than a lag of samples. Called by the
 * preflight's runner. */
#include "collector/preflight/channel_look.h"

#include <math.h>
#include <string.h>

/* Mains that is this near to a whole number of periods leaves nothing to speak of. */
#define NEAR 0.02

/* The shortest lag over which the mains comes back to where it was; the best where none is near. */
static uint32_t choose_lag(double rate_hz, double mains_hz)
{
    uint32_t best = 1;
    double least = 1.0;
    for (uint32_t lag = 1; lag <= LOOK_LAG_MAX; lag++) {
        double periods = (double)lag * mains_hz / rate_hz;
        double off = fabs(periods - round(periods));
        if (off < NEAR) {
            return lag;
        }
        if (off < least) {
            least = off;
            best = lag;
        }
    }
    return best;
}

void channel_look_begin(struct channel_look *look, const struct channel *channel, double mains_hz)
{
    memset(look, 0, sizeof *look);
    look->lag = channel->rate_hz > 0.0 ? choose_lag(channel->rate_hz, mains_hz) : 1;
    look->step = fabs(channel_value(channel, 1) - channel_value(channel, 0));
}

static void take_value(struct channel_look *look, double value)
{
    if (look->count == 0 || value < look->least) {
        look->least = value;
        look->at_least = 0;
    }
    if (look->count == 0 || value > look->most) {
        look->most = value;
        look->at_most = 0;
    }
    look->at_least += value <= look->least;
    look->at_most += value >= look->most;
    look->sum += value;
    double *old = &look->ring[look->count % look->lag];
    if (look->count >= look->lag) {
        look->apart_sum += fabs(value - *old);
        look->apart_count++;
    }
    *old = value;
    look->count++;
}

void channel_look_take(struct channel_look *look, const struct channel *channel,
                       const struct block *block)
{
    for (uint32_t i = 0; i < block->count; i++) {
        int64_t time_ns = block_time_ns(block, i);
        look->first_ns = look->count == 0 ? time_ns : look->first_ns;
        look->last_ns = time_ns;
        take_value(look, block_value(block, channel, i));
    }
}

double channel_look_mean(const struct channel_look *look)
{
    return look->count > 0 ? look->sum / (double)look->count : 0.0;
}

double channel_look_rate_hz(const struct channel_look *look)
{
    double span_s = (double)(look->last_ns - look->first_ns) * 1e-9;
    return look->count > 1 && span_s > 0.0 ? (double)(look->count - 1) / span_s : 0.0;
}

double channel_look_noise(const struct channel_look *look)
{
    return look->apart_count > 0 ? look->apart_sum / (double)look->apart_count * sqrt(M_PI) / 2.0
                                 : (double)NAN;
}
