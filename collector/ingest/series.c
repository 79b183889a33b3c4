/* Sorted samples of one channel, cut into blocks without losing a digit or a nanosecond.
 * Must never claim even times that block_time_ns would not give back exactly.
 * Called by the CSV import and by SenML nodes. */
#include "collector/ingest/series.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define PS_PER_NS 1000
#define FIRST_SIZE 256
/* Even runs shorter than this on average are kept as one block of explicit times. */
#define RUN_WORTH 16
/* A longer span is not tried as even, so that nothing overflows. */
#define SPAN_MAX_NS (INT64_MAX / 4 / PS_PER_NS)

void series_free(struct series *series)
{
    free(series->times_ns);
    free(series->values);
    free(series->counts);
    *series = (struct series){0};
}

int series_reserve(struct series *series, size_t count)
{
    if (count <= series->size) {
        return 0;
    }
    int64_t *times = realloc(series->times_ns, count * sizeof *times);
    if (!times) {
        return -1;
    }
    series->times_ns = times;
    struct decimal *values = realloc(series->values, count * sizeof *values);
    if (!values) {
        return -1;
    }
    series->values = values;
    int32_t *counts = realloc(series->counts, count * sizeof *counts);
    if (!counts) {
        return -1;
    }
    series->counts = counts;
    series->size = count;
    return 0;
}

int series_insert(struct series *series, int64_t time_ns, struct decimal value)
{
    if (series->count == series->size &&
        series_reserve(series, series->size ? series->size * 2 : FIRST_SIZE)) {
        return -1;
    }
    size_t at = series->count;
    while (at > 0 && series->times_ns[at - 1] > time_ns) {
        at--;
    }
    if (at > 0 && series->times_ns[at - 1] == time_ns) {
        return 1;
    }
    size_t behind = series->count - at;
    if (behind > 0) {
        memmove(series->times_ns + at + 1, series->times_ns + at,
                behind * sizeof *series->times_ns);
        memmove(series->values + at + 1, series->values + at, behind * sizeof *series->values);
    }
    series->times_ns[at] = time_ns;
    series->values[at] = value;
    series->count++;
    return 0;
}

void series_drop(struct series *series, size_t count)
{
    size_t rest = series->count - count;
    if (rest > 0) {
        memmove(series->times_ns, series->times_ns + count, rest * sizeof *series->times_ns);
        memmove(series->values, series->values + count, rest * sizeof *series->values);
    }
    series->count = rest;
}

/* block_time_ns gives t0 + floor((i * p + 500) / 1000), so sample i bounds p from both sides. */
size_t series_even_run(const int64_t *times_ns, size_t count, int64_t like_ps, int64_t *period_ps)
{
    int64_t low = PS_PER_NS;
    int64_t high = INT64_MAX;
    size_t run = 1;
    for (; run < count; run++) {
        int64_t span = times_ns[run] - times_ns[0];
        if (span > SPAN_MAX_NS) {
            break;
        }
        int64_t index = (int64_t)run;
        int64_t least = (span * PS_PER_NS - PS_PER_NS / 2 + index - 1) / index;
        int64_t most = (span * PS_PER_NS + PS_PER_NS / 2 - 1) / index;
        if ((least > low ? least : low) > (most < high ? most : high)) {
            break;
        }
        low = least > low ? least : low;
        high = most < high ? most : high;
    }
    *period_ps = like_ps >= low && like_ps <= high ? like_ps : low + (high - low) / 2;
    return run;
}

/* How many even runs the samples fall into. */
static size_t count_runs(const struct series *series, size_t count, const struct channel *channel)
{
    size_t runs = 0;
    for (size_t at = 0; at < count; runs++) {
        size_t part = count - at > BLOCK_SAMPLES_MAX ? BLOCK_SAMPLES_MAX : count - at;
        int64_t period;
        at += series_even_run(series->times_ns + at, part, channel->period_ps, &period);
    }
    return runs;
}

static bool worth_even(const struct series *series, size_t count, const struct channel *channel,
                       size_t *runs)
{
    if (channel->period_ps <= 0 || count == 0) {
        return false;
    }
    *runs = count_runs(series, count, channel);
    return *runs == 1 || *runs * RUN_WORTH <= count;
}

size_t series_block_count(const struct series *series, size_t count, const struct channel *channel)
{
    size_t runs;
    if (worth_even(series, count, channel, &runs)) {
        return runs;
    }
    return (count + BLOCK_SAMPLES_MAX - 1) / BLOCK_SAMPLES_MAX;
}

/* Counts of the step where all fit, else the decimals as they are. */
static void fill_values(struct series *series, size_t at, const struct channel *channel,
                        struct block *block)
{
    block->encoding = BLOCK_INT32;
    block->counts = series->counts + at;
    for (uint32_t i = 0; i < block->count; i++) {
        int64_t count;
        if (decimal_rescale(series->values[at + i], channel->step.exponent, &count) ||
            count > INT32_MAX || count < INT32_MIN) {
            block->encoding = BLOCK_DECIMAL;
            block->counts = NULL;
            block->decimals = series->values + at;
            return;
        }
        series->counts[at + i] = (int32_t)count;
    }
}

void series_make_blocks(struct series *series, size_t count, uint16_t index,
                        const struct channel *channel, struct block *blocks)
{
    size_t runs;
    bool even = worth_even(series, count, channel, &runs);
    for (size_t at = 0; at < count; blocks++) {
        size_t part = count - at > BLOCK_SAMPLES_MAX ? BLOCK_SAMPLES_MAX : count - at;
        int64_t period = 0;
        if (even) {
            part = series_even_run(series->times_ns + at, part, channel->period_ps, &period);
        }
        *blocks = (struct block){.channel = index,
                                 .count = (uint32_t)part,
                                 .t0_ns = series->times_ns[at],
                                 .period_ps = period,
                                 .times_ns = even ? NULL : series->times_ns + at};
        fill_values(series, at, channel, blocks);
        at += part;
    }
}

int series_finest(int exponent, struct decimal value)
{
    return value.mantissa != 0 && value.exponent < exponent ? value.exponent : exponent;
}
