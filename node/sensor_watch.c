/* Counters of one channel.
 * Must never grow with the night. Called by sampler.c. */
#include "node/sensor_watch.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define STRETCH_NS (10 * NS_PER_S)
#define RATE_INTERVALS_LEAST 5
#define STEPS_LEAST 50
#define RUN_LEAST 20
#define STUCK_LOG 27.631 /* -log(1e-12) */
#define CLIPPED_NS (10 * NS_PER_S)
#define MEDIAN_OF_NORMAL 0.67448975

static void measure_rate(struct sensor_watch *watch, int64_t time_ns)
{
    if (watch->afresh) {
        watch->afresh = false;
        watch->first_ns = time_ns;
        watch->intervals = 0;
        return;
    }
    watch->intervals++;
    if (time_ns - watch->first_ns >= STRETCH_NS && watch->intervals >= RATE_INTERVALS_LEAST) {
        watch->rate_hz = (double)watch->intervals * 1e9 / (double)(time_ns - watch->first_ns);
        watch->first_ns = time_ns;
        watch->intervals = 0;
    }
}

static void count_step(struct sensor_watch *watch, int64_t time_ns, int32_t count)
{
    int64_t difference = llabs((int64_t)count - watch->count);
    size_t place = watch->difference_count++ % SENSOR_WATCH_DIFFERENCES;
    watch->differences[place] = (uint32_t)difference;
    if (difference == 0) {
        watch->run++;
        return;
    }
    /* What was told of a stuck sensor is not how often it changes. */
    watch->steps += 1 + (watch->run < STEPS_LEAST ? watch->run : 0);
    watch->changes++;
    watch->run = 0;
    watch->run_since_ns = time_ns;
}

void sensor_watch_sample(struct sensor_watch *watch, const struct channel *channel, int64_t time_ns,
                         int32_t count)
{
    if (!watch->any) {
        watch->any = true;
        watch->first_ns = time_ns;
        watch->run_since_ns = time_ns;
    } else {
        measure_rate(watch, time_ns);
        count_step(watch, time_ns, count);
    }
    if (channel->least != channel->most && (count <= channel->least || count >= channel->most)) {
        watch->clipped++;
        watch->clipped_ns = time_ns;
    }
    watch->last_ns = time_ns;
    watch->count = count;
}

void sensor_watch_hole(struct sensor_watch *watch, int64_t start_ns, int64_t end_ns)
{
    watch->missing_ns += end_ns > start_ns ? end_ns - start_ns : 0;
    watch->afresh = true;
}

bool sensor_watch_stuck(const struct sensor_watch *watch, const struct channel *channel)
{
    if (channel->period_ps == 0 || watch->steps < STEPS_LEAST || watch->run < RUN_LEAST) {
        return false;
    }
    double same = 1.0 - (double)watch->changes / (double)watch->steps;
    return same <= 0.0 || -log(same) * (double)watch->run > STUCK_LOG;
}

bool sensor_watch_clipped(const struct sensor_watch *watch)
{
    return watch->clipped > 0 && watch->last_ns - watch->clipped_ns < CLIPPED_NS;
}

static int compare(const void *a, const void *b)
{
    uint32_t left = *(const uint32_t *)a;
    uint32_t right = *(const uint32_t *)b;
    return (left > right) - (left < right);
}

/* From the median size of the newest differences; NaN where most are 0, or there are few. */
static double noise_of(const struct sensor_watch *watch, const struct channel *channel)
{
    uint32_t sorted[SENSOR_WATCH_DIFFERENCES];
    if (channel->period_ps == 0 || watch->difference_count < SENSOR_WATCH_DIFFERENCES) {
        return NAN;
    }
    memcpy(sorted, watch->differences, sizeof sorted);
    qsort(sorted, SENSOR_WATCH_DIFFERENCES, sizeof sorted[0], compare);
    uint32_t median = sorted[SENSOR_WATCH_DIFFERENCES / 2];
    return median == 0
               ? NAN
               : median / MEDIAN_OF_NORMAL / M_SQRT2 * fabs(decimal_to_double(channel->step));
}

void sensor_watch_tell(const struct sensor_watch *watch, const struct channel *channel,
                       struct message_sensor *told)
{
    bool stuck = sensor_watch_stuck(watch, channel);
    *told = (struct message_sensor){
        .rate_hz = channel->period_ps > 0 && watch->rate_hz > 0 ? watch->rate_hz : NAN,
        .noise = noise_of(watch, channel),
        .clipped = watch->clipped,
        .stuck_s = stuck ? (double)(watch->last_ns - watch->run_since_ns) / 1e9 : 0.0,
        .missing_s = (double)watch->missing_ns / 1e9};
    (void)snprintf(told->name, sizeof told->name, "%s", channel->name);
}
