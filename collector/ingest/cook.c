/* Node time to site time, block by block, each channel strictly rising.
 * Must never overflow: cook_check comes first and bounds what came from outside.
 * Called by the intake. */
#include "collector/ingest/cook.h"

#include "common/clock.h"

/* Far enough from the ends of int64 that sums of a few such times do not overflow (73 years). */
#define TIME_LIMIT_NS (INT64_C(1) << 61)
#define RATE_LIMIT_PPT INT64_C(10000000000) /* one per cent */
#define GROWTH_LIMIT_PPB INT64_C(1000000000)
#define PS_PER_NS 1000

void cook_init(struct cook *cook)
{
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        cook->last_ns[i] = INT64_MIN;
    }
    cook->until_ns = INT64_MIN;
}

static bool near_zero(int64_t value, int64_t limit)
{
    return value > -limit && value < limit;
}

int cook_check(const struct clock_fit *fit, const struct block *block, int64_t until_node_ns,
               struct error *error)
{
    if (!near_zero(until_node_ns, TIME_LIMIT_NS)) {
        return error_set(error, ERROR_RANGE, "until_node_ns: out of range");
    }
    if (fit->known &&
        (!near_zero(fit->ref_node_ns, TIME_LIMIT_NS) || !near_zero(fit->offset_ns, TIME_LIMIT_NS) ||
         !near_zero(fit->rate_ppt, RATE_LIMIT_PPT) || fit->uncertainty_ns < 0 ||
         fit->uncertainty_ns >= TIME_LIMIT_NS || fit->growth_ppb < 0 ||
         fit->growth_ppb >= GROWTH_LIMIT_PPB)) {
        return error_set(error, ERROR_RANGE, "clock fit: out of range");
    }
    if (block->count == 0) {
        return 0;
    }
    int64_t first = block_time_ns(block, 0);
    int64_t last = block_time_ns(block, block->count - 1);
    if (!near_zero(first, TIME_LIMIT_NS) || !near_zero(last, TIME_LIMIT_NS) ||
        (block->period_ps > 0 && block->period_ps < PS_PER_NS)) {
        return error_set(error, ERROR_RANGE, "block of channel %u: times out of range",
                         block->channel);
    }
    return 0;
}

static int64_t site_time(const struct clock_fit *fit, int64_t node_ns)
{
    return fit->known ? clock_fit_site_ns(fit, node_ns) : node_ns;
}

/* The earliest that the channel's next sample may have. */
static int64_t channel_floor(const struct cook *cook, uint16_t channel)
{
    int64_t last = cook->last_ns[channel];
    int64_t after = last == INT64_MIN ? INT64_MIN : last + 1;
    return after > cook->until_ns ? after : cook->until_ns;
}

static void cook_even(const struct clock_fit *fit, const struct block *block, int64_t start_ns,
                      struct block *out)
{
    out->t0_ns = start_ns;
    if (block->count < 2) {
        return;
    }
    int64_t last = site_time(fit, block_time_ns(block, block->count - 1));
    int64_t steps = block->count - 1;
    int64_t least = block->period_ps / 2 > PS_PER_NS ? block->period_ps / 2 : PS_PER_NS;
    int64_t period = least;
    if (last > start_ns) {
        __int128 span_ps = (__int128)(last - start_ns) * PS_PER_NS;
        __int128 fitted = (span_ps + steps / 2) / steps;
        period = fitted > least ? (int64_t)fitted : least;
    }
    out->period_ps = period;
}

/* Explicit times keep their own distances where they can; what the floor holds back follows each
 * other by a nanosecond. */
static void cook_explicit(const struct clock_fit *fit, const struct block *block, int64_t start_ns,
                          int64_t *times_ns, struct block *out)
{
    int64_t floor_ns = start_ns;
    for (uint32_t i = 0; i < block->count; i++) {
        int64_t time_ns = site_time(fit, block->times_ns[i]);
        times_ns[i] = time_ns > floor_ns ? time_ns : floor_ns;
        floor_ns = times_ns[i] + 1;
    }
    out->times_ns = times_ns;
    out->t0_ns = times_ns[0];
}

void cook_block(struct cook *cook, const struct clock_fit *fit, const struct block *block,
                int64_t *times_ns, struct block *out)
{
    *out = *block;
    if (block->count == 0) {
        out->t0_ns = site_time(fit, block->t0_ns);
        return;
    }
    int64_t start = site_time(fit, block_time_ns(block, 0));
    int64_t floor_ns = channel_floor(cook, block->channel);
    if (start < floor_ns) {
        start = floor_ns;
    }
    if (block->period_ps > 0) {
        cook_even(fit, block, start, out);
    } else {
        cook_explicit(fit, block, start, times_ns, out);
    }
    cook->last_ns[block->channel] = block_time_ns(out, out->count - 1);
}

int64_t cook_until(struct cook *cook, const struct clock_fit *fit, int64_t until_node_ns)
{
    int64_t until = site_time(fit, until_node_ns);
    for (size_t i = 0; i < NODE_CHANNELS_MAX; i++) {
        if (cook->last_ns[i] != INT64_MIN && cook->last_ns[i] >= until) {
            until = cook->last_ns[i] + 1;
        }
    }
    if (until > cook->until_ns) {
        cook->until_ns = until;
    }
    return cook->until_ns;
}

int64_t cook_round_uncertainty(int64_t uncertainty_ns)
{
    int64_t unit = 1;
    while (uncertainty_ns / unit >= 100) {
        unit *= 10;
    }
    int64_t rest = uncertainty_ns % unit;
    return rest == 0 ? uncertainty_ns : uncertainty_ns - rest + unit;
}
