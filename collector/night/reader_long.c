/* One long block's row, decoded.
 * Must never trust the row. Called by reader*.c. */
#include "collector/night/reader_long.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/schema.h"

void long_block_free(struct long_block *block)
{
    tail_memory_free(&block->memory);
    free(block->cuts);
    *block = (struct long_block){0};
}

int long_block_head(struct sql_columns *row, struct long_block *block, struct error *error)
{
    int64_t last_ns = 0;
    block->id = sql_get_int(row);
    block->channel = sql_get_int(row);
    block->block = (struct block){.channel = (uint16_t)(block->channel % SCHEMA_FANOUT),
                                  .t0_ns = sql_get_int(row)};
    block->span_ns = sql_get_int(row);
    int64_t count = sql_get_int(row);
    block->kind = sql_get_int(row);
    if (codec_encoding(block->kind, &block->block.encoding) != 0 || count < 1 ||
        count > BLOCK_SAMPLES_MAX || block->channel < 0 || block->span_ns < 0 ||
        __builtin_add_overflow(block->block.t0_ns, block->span_ns, &last_ns)) {
        return error_set(error, ERROR_FORMAT, "damaged block");
    }
    block->block.count = (uint32_t)count;
    return 0;
}

static int grow_cuts(struct long_block *block, size_t count, struct error *error)
{
    if (count <= block->cuts_size) {
        return 0;
    }
    struct cut *cuts = realloc(block->cuts, count * sizeof *cuts);
    if (!cuts) {
        return error_set(error, ERROR_MEMORY, "blocks: out of memory");
    }
    block->cuts = cuts;
    block->cuts_size = count;
    return 0;
}

int long_block_cuts(struct codec *codec, struct sql_columns *row, struct long_block *block,
                    struct error *error)
{
    size_t length = 0;
    const uint8_t *bytes = sql_get_blob(row, &length);
    size_t count = 0;
    if (cuts_count(codec, bytes, length, &count, error) != 0 ||
        grow_cuts(block, count, error) != 0) {
        return -1;
    }
    return cuts_decode(codec, bytes, length, block->block.t0_ns, block->block.count, block->cuts,
                       block->cuts_size, &block->cut_count, error);
}

/* Whether all cuts are evenly timed and within the block's span, or none is. */
static bool cuts_agree(const struct long_block *block, bool even)
{
    const int64_t end_ns = block->block.t0_ns + block->span_ns;
    for (size_t i = 0; i < block->cut_count; i++) {
        const struct cut *cut = &block->cuts[i];
        if ((cut->period_ps > 0) != even ||
            (even && (cut->t0_ns < block->block.t0_ns ||
                      cut_time_ns(cut, NULL, cut->count - 1) > end_ns))) {
            return false;
        }
    }
    return true;
}

int long_block_body(struct codec *codec, struct sql_columns *row, struct long_block *block,
                    struct error *error)
{
    struct block *all = &block->block;
    if (long_block_cuts(codec, row, block, error) != 0) {
        return -1;
    }
    size_t times_length = 0;
    size_t length = 0;
    const uint8_t *times = sql_get_blob(row, &times_length);
    const uint8_t *samples = sql_get_blob(row, &length);
    if (!cuts_agree(block, !times)) {
        return error_set(error, ERROR_FORMAT, "damaged list of a block's messages");
    }
    if (tail_memory_room(&block->memory, all->encoding, times != NULL, all->count, error) != 0) {
        return -1;
    }
    all->period_ps = block->cuts[0].period_ps;
    if (times) {
        all->times_ns = block->memory.times_ns;
        if (codec_decode_times(codec, times, times_length, all->t0_ns, all->count,
                               block->memory.times_ns, error) != 0) {
            return -1;
        }
        if (all->times_ns[all->count - 1] > all->t0_ns + block->span_ns) {
            return error_set(error, ERROR_FORMAT, "damaged times");
        }
    }
    if (all->encoding == BLOCK_DECIMAL) {
        all->decimals = block->memory.decimals;
        return codec_decode_decimals(codec, (enum codec_kind)block->kind, samples, length,
                                     all->count, block->memory.decimals, error);
    }
    all->counts = block->memory.counts;
    return codec_decode_counts(codec, (enum codec_kind)block->kind, samples, length, all->count,
                               block->memory.counts, error);
}

int long_block_from_tail(struct codec *codec, struct tail_reader *reader, uint64_t seq,
                         struct long_block *block, struct error *error)
{
    int64_t node_t0_ns = 0;
    int more = tail_next(codec, reader, &block->memory, &block->block, &node_t0_ns, error);
    if (more != 1) {
        return more;
    }
    if (grow_cuts(block, 1, error) != 0) {
        return -1;
    }
    const struct block *all = &block->block;
    block->cuts[0] = (struct cut){.seq = seq,
                                  .count = all->count,
                                  .t0_ns = all->t0_ns,
                                  .period_ps = all->period_ps,
                                  .node_t0_ns = node_t0_ns};
    block->cut_count = 1;
    if (__builtin_sub_overflow(block_time_ns(all, all->count - 1), all->t0_ns, &block->span_ns)) {
        return error_set(error, ERROR_FORMAT, "damaged message");
    }
    return 1;
}
