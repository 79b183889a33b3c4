/* The block, then its times, then its values.
 * Must never leave a pointer into the lender's memory. Called by lane and ahead. */
#include "collector/pipeline/block_copy.h"

#include <stdlib.h>
#include <string.h>

struct copied {
    struct block block;
    int64_t space[]; /* its times and values */
};

struct block *block_copy(const struct block *block)
{
    bool decimals = block->encoding == BLOCK_DECIMAL;
    size_t times = block->times_ns ? block->count * sizeof(int64_t) : 0;
    size_t values = block->count * (decimals ? sizeof(struct decimal) : sizeof(int32_t));
    struct copied *copied = malloc(sizeof *copied + times + values);
    if (!copied) {
        return NULL;
    }
    char *after = (char *)copied->space + times;
    copied->block = *block;
    if (times > 0) {
        memcpy(copied->space, block->times_ns, times);
        copied->block.times_ns = copied->space;
    }
    if (values == 0) {
        return &copied->block;
    }
    if (decimals) {
        memcpy(after, block->decimals, values);
        copied->block.decimals = (const struct decimal *)(const void *)after;
    } else {
        memcpy(after, block->counts, values);
        copied->block.counts = (const int32_t *)(const void *)after;
    }
    return &copied->block;
}
