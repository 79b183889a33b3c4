/* Times and values of a block's samples.
 * Must never own memory nor let a time overflow.
 * Called by everything that walks through samples. */
#include "common/block.h"

#define PS_PER_NS 1000

int64_t block_time_ns(const struct block *block, uint32_t index)
{
    if (block->period_ps <= 0) {
        return block->times_ns[index];
    }
    __int128 elapsed_ps = (__int128)block->period_ps * index;
    __int128 time_ns;
    if (elapsed_ps <= INT64_MAX - PS_PER_NS) {
        time_ns = ((int64_t)elapsed_ps + PS_PER_NS / 2) / PS_PER_NS;
    } else {
        time_ns = (elapsed_ps + PS_PER_NS / 2) / PS_PER_NS;
    }
    time_ns += block->t0_ns;
    return time_ns > INT64_MAX ? INT64_MAX : (int64_t)time_ns;
}

double block_value(const struct block *block, const struct channel *channel, uint32_t index)
{
    if (block->encoding == BLOCK_DECIMAL) {
        return decimal_to_double(block->decimals[index]);
    }
    return channel_value(channel, block->counts[index]);
}

int block_decimal(const struct block *block, const struct channel *channel, uint32_t index,
                  struct decimal *out)
{
    if (block->encoding == BLOCK_DECIMAL) {
        *out = block->decimals[index];
        return 0;
    }
    return decimal_multiply_add(block->counts[index], channel->step, channel->offset, out);
}
