/* One channel's samples while a long block is made of them.
 * Must never hold more than one block's. Called by the store's files. */
#include "collector/night/gathered.h"

#include <stdlib.h>
#include <string.h>

void gathered_free(struct gathered *gathered)
{
    free(gathered->counts);
    free(gathered->decimals);
    free(gathered->times_ns);
    free(gathered->cuts);
    *gathered = (struct gathered){0};
}

/* Room for `needed` entries; NULL, and what was there is still owned, where there is no memory. */
static void *room(void *memory, size_t *size, size_t needed, size_t each, struct error *error)
{
    if (memory && needed <= *size) {
        return memory;
    }
    void *more = realloc(memory, 2 * needed * each);
    if (!more) {
        (void)error_set(error, ERROR_MEMORY, "night: out of memory");
        return NULL;
    }
    *size = 2 * needed;
    return more;
}

static int gather_samples(struct gathered *gathered, const struct block *block, struct error *error)
{
    const size_t needed = (size_t)gathered->count + block->count;
    if (block->encoding == BLOCK_INT32) {
        int32_t *counts =
            room(gathered->counts, &gathered->counts_size, needed, sizeof *counts, error);
        if (!counts) {
            return -1;
        }
        gathered->counts = counts;
        memcpy(counts + gathered->count, block->counts, block->count * sizeof *counts);
        return 0;
    }
    struct decimal *decimals =
        room(gathered->decimals, &gathered->decimals_size, needed, sizeof *decimals, error);
    if (!decimals) {
        return -1;
    }
    gathered->decimals = decimals;
    memcpy(decimals + gathered->count, block->decimals, block->count * sizeof *decimals);
    return 0;
}

static int gather_times(struct gathered *gathered, const struct block *block, struct error *error)
{
    int64_t *times = room(gathered->times_ns, &gathered->times_size,
                          (size_t)gathered->count + block->count, sizeof *times, error);
    if (!times) {
        return -1;
    }
    gathered->times_ns = times;
    memcpy(times + gathered->count, block->times_ns, block->count * sizeof *times);
    return 0;
}

int gathered_add(struct gathered *gathered, const struct block *block, uint64_t seq,
                 int64_t node_t0_ns, struct error *error)
{
    if (gathered->count > BLOCK_SAMPLES_MAX - block->count ||
        (gathered->count > 0 &&
         (gathered->encoding != block->encoding || gathered->even != (block->period_ps > 0)))) {
        return error_set(error, ERROR_FORMAT,
                         "night: what waits for a block does not fit into one");
    }
    struct cut *cuts =
        room(gathered->cuts, &gathered->cuts_size, gathered->cut_count + 1, sizeof *cuts, error);
    if (!cuts) {
        return -1;
    }
    gathered->cuts = cuts;
    if (gather_samples(gathered, block, error) != 0 ||
        (block->period_ps <= 0 && gather_times(gathered, block, error) != 0)) {
        return -1;
    }
    cuts[gathered->cut_count++] = (struct cut){.seq = seq,
                                               .count = block->count,
                                               .t0_ns = block->t0_ns,
                                               .period_ps = block->period_ps,
                                               .node_t0_ns = node_t0_ns};
    gathered->encoding = block->encoding;
    gathered->even = block->period_ps > 0;
    gathered->count += block->count;
    return 0;
}
