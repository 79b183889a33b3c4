/* The samples of all nodes and channels of a night as one stream in time order.
 * Must never hold a block longer than until its last sample was given. Called by csv.c,
 * csv_seconds.c and senml.c.
 *
 * A message's channels mostly share their times: such blocks are given side by side, so that the
 * heap orders nodes, not channels. */
#include "collector/export/stream.h"

#include <stdlib.h>
#include <string.h>

#include "collector/export/stream_columns.h"

static int out_of_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "export: out of memory");
}

static bool before(const struct stream_source *a, const struct stream_source *b)
{
    if (a->time_ns != b->time_ns) {
        return a->time_ns < b->time_ns;
    }
    return a->node != b->node ? a->node < b->node : a->parts[0]->column < b->parts[0]->column;
}

/* Moves the top down to its place, after its time has changed. */
static void sink(struct stream *stream)
{
    struct stream_source **heap = stream->heap;
    struct stream_source *moved = heap[0];
    size_t at = 0;
    for (;;) {
        size_t child = 2 * at + 1;
        if (child + 1 < stream->heap_count && before(heap[child + 1], heap[child])) {
            child++;
        }
        if (child >= stream->heap_count || !before(heap[child], moved)) {
            break;
        }
        heap[at] = heap[child];
        at = child;
    }
    heap[at] = moved;
}

static int push(struct stream *stream, struct stream_source *source, struct error *error)
{
    if (stream->heap_count == stream->heap_size) {
        size_t size = stream->heap_size ? 2 * stream->heap_size : 64;
        struct stream_source **heap = realloc(stream->heap, size * sizeof(struct stream_source *));
        if (!heap) {
            return out_of_memory(error);
        }
        stream->heap = heap;
        stream->heap_size = size;
    }
    size_t at = stream->heap_count++;
    while (at > 0 && before(source, stream->heap[(at - 1) / 2])) {
        stream->heap[at] = stream->heap[(at - 1) / 2];
        at = (at - 1) / 2;
    }
    stream->heap[at] = source;
    return 0;
}

static void free_source(struct stream_source *source)
{
    for (size_t i = 0; i < NODE_CHANNELS_MAX && source->parts[i]; i++) {
        free(source->parts[i]->memory);
        free(source->parts[i]);
    }
    free(source);
}

/* An empty source; its parts keep their memory. */
static struct stream_source *acquire(struct stream *stream)
{
    struct stream_source *source = stream->free;
    if (source) {
        stream->free = source->next_free;
        source->part_count = 0;
        return source;
    }
    return calloc(1, sizeof *source);
}

static void release(struct stream *stream, struct stream_source *source)
{
    source->next_free = stream->free;
    stream->free = source;
}

/* The cursor's row is valid until its next step only. */
static int copy_block(struct stream_part *part, const struct block *block, struct error *error)
{
    bool whole = block->encoding == BLOCK_INT32;
    size_t samples = block->count * (whole ? sizeof *block->counts : sizeof *block->decimals);
    size_t times = block->period_ps > 0 ? 0 : block->count * sizeof *block->times_ns;
    if (samples == 0) {
        part->block = *block;
        return 0;
    }
    if (!part->memory || samples + times > part->memory_size) {
        void *memory = realloc(part->memory, samples + times);
        if (!memory) {
            return out_of_memory(error);
        }
        part->memory = memory;
        part->memory_size = samples + times;
    }
    char *at = part->memory;
    part->block = *block;
    if (times > 0) { /* first, since they need the larger alignment */
        part->block.times_ns = memcpy(at, block->times_ns, times);
    }
    if (whole) {
        part->block.counts = memcpy(at + times, block->counts, samples);
    } else {
        part->block.decimals = memcpy(at + times, block->decimals, samples);
    }
    return 0;
}

/* Puts the cursor's block into the source, at its column's place. */
static int add_part(struct stream *stream, struct stream_source *source, size_t column,
                    struct error *error)
{
    size_t at = source->part_count;
    if (!source->parts[at]) {
        source->parts[at] = calloc(1, sizeof *source->parts[at]);
        if (!source->parts[at]) {
            return out_of_memory(error);
        }
    }
    struct stream_part *part = source->parts[at];
    if (copy_block(part, &stream->row.block, error) != 0) {
        return -1;
    }
    part->channel = stream->row.channel;
    part->column = column;
    source->part_count++;
    for (; at > 0 && source->parts[at - 1]->column > column; at--) {
        source->parts[at] = source->parts[at - 1];
        source->parts[at - 1] = part;
    }
    return 0;
}

/* Whether the cursor's block has the times of the last source, and a column that it has not. */
static bool may_join(const struct stream *stream, size_t column)
{
    const struct stream_source *last = stream->last;
    const struct block *block = &stream->row.block;
    if (!last || last->part_count == NODE_CHANNELS_MAX || last->node != stream->row.node ||
        block->period_ps <= 0 || last->parts[0]->block.period_ps != block->period_ps ||
        last->parts[0]->block.t0_ns != block->t0_ns || last->count != block->count) {
        return false;
    }
    for (size_t i = 0; i < last->part_count; i++) {
        if (last->parts[i]->column == column) {
            return false;
        }
    }
    return true;
}

static void set_time(struct stream_source *source)
{
    source->time_ns = block_time_ns(&source->parts[0]->block, source->next);
}

static int begin_source(struct stream *stream, size_t column, struct error *error)
{
    const struct block *block = &stream->row.block;
    uint32_t next = 0;
    while (next < block->count && block_time_ns(block, next) < stream->options->from_ns) {
        next++;
    }
    if (next == block->count) {
        return 0;
    }
    struct stream_source *source = acquire(stream);
    if (!source) {
        return out_of_memory(error);
    }
    source->node = stream->row.node;
    source->count = block->count;
    source->next = next;
    if (add_part(stream, source, column, error) != 0) {
        release(stream, source);
        return -1;
    }
    set_time(source);
    if (push(stream, source, error) != 0) {
        release(stream, source);
        return -1;
    }
    stream->last = source;
    return 0;
}

static int take_row(struct stream *stream, struct error *error)
{
    const char *name = stream->row.channel.name;
    if (stream->row.node >= stream->site->node_count) {
        return error_set(error, ERROR_FORMAT, "damaged: a block of no node");
    }
    if (!stream->wanted_nodes[stream->row.node] || !stream_columns_wanted(stream->options, name)) {
        return 0;
    }
    size_t column = stream_columns_find(stream, name);
    if (column == SIZE_MAX) {
        return error_set(error, ERROR_STATE, "channel %s appeared since the export began", name);
    }
    return may_join(stream, column) ? add_part(stream, stream->last, column, error)
                                    : begin_source(stream, column, error);
}

static int next_row(struct stream *stream, struct error *error)
{
    int more = night_blocks_next(stream->blocks, &stream->row, error);
    stream->has_row = more == 1;
    return more < 0 ? -1 : 0;
}

/* Every block that begins no later than the first sample on hand. */
static int fill(struct stream *stream, struct error *error)
{
    stream->last = NULL;
    while (stream->has_row &&
           (stream->heap_count == 0 || stream->row.block.t0_ns <= stream->heap[0]->time_ns)) {
        if (progress_tell(&stream->progress, stream->row.block.t0_ns, error) != 0 ||
            take_row(stream, error) != 0 || next_row(stream, error) != 0) {
            return -1;
        }
    }
    return 0;
}

/* Takes the step that was given off the top. */
static void move_on(struct stream *stream)
{
    struct stream_source *top = stream->heap[0];
    top->next++;
    if (top->next == top->count) {
        stream->heap[0] = stream->heap[--stream->heap_count];
        release(stream, top);
    } else {
        set_time(top);
    }
    if (stream->heap_count > 0) {
        sink(stream);
    }
    stream->stale = false;
}

int stream_open(struct stream *stream, struct night_reader *reader,
                const struct export_options *options, struct error *error)
{
    stream->options = options;
    size_t node = SIZE_MAX;
    if (progress_begin(&stream->progress, reader, options, error) != 0 ||
        stream_columns_read(stream, reader, error) != 0) {
        return -1;
    }
    if (options->node_count == 1) {
        node = site_find_node(stream->site, options->nodes[0]);
    }
    if (night_blocks_open(reader, node, options->from_ns, options->to_ns, &stream->blocks, error) !=
        0) {
        return -1;
    }
    return next_row(stream, error);
}

void stream_close(struct stream *stream)
{
    night_blocks_close(stream->blocks);
    for (size_t i = 0; i < stream->heap_count; i++) {
        free_source(stream->heap[i]);
    }
    while (stream->free) {
        struct stream_source *next = stream->free->next_free;
        free_source(stream->free);
        stream->free = next;
    }
    free(stream->heap);
    free(stream->clocks);
    free(stream->columns);
    free(stream->wanted_nodes);
    site_free(stream->site);
}

/* Whether the next clock row comes before the first sample on hand. */
static bool clock_is_next(const struct stream *stream)
{
    if (stream->clock_next == stream->clock_count) {
        return false;
    }
    if (stream->heap_count == 0) {
        return true;
    }
    const struct stream_clock *clock = &stream->clocks[stream->clock_next];
    const struct stream_source *top = stream->heap[0];
    return clock->time_ns != top->time_ns ? clock->time_ns < top->time_ns
                                          : clock->node <= top->node;
}

int stream_next(struct stream *stream, struct stream_row *row, struct error *error)
{
    if (stream->stale) {
        move_on(stream);
    }
    if (fill(stream, error) != 0) {
        return -1;
    }
    if (clock_is_next(stream)) {
        const struct stream_clock *clock = &stream->clocks[stream->clock_next++];
        *row = (struct stream_row){
            .time_ns = clock->time_ns, .node = clock->node, .clock_sd_ns = clock->sd_ns};
        return 1;
    }
    if (stream->heap_count == 0 || stream->heap[0]->time_ns >= stream->options->to_ns) {
        return 0;
    }
    struct stream_source *top = stream->heap[0];
    *row = (struct stream_row){.time_ns = top->time_ns,
                               .node = top->node,
                               .index = top->next,
                               .part_count = top->part_count,
                               .parts = top->parts};
    stream->stale = true;
    return 1;
}

int stream_value_text(const struct stream_part *part, uint32_t index, char text[DECIMAL_TEXT_SIZE],
                      struct error *error)
{
    struct decimal value;
    const struct block *block = &part->block;
    if (block->encoding == BLOCK_INT32 && part->channel.offset.mantissa == 0 &&
        part->channel.step.mantissa >= -INT32_MAX && part->channel.step.mantissa <= INT32_MAX &&
        part->channel.step.exponent >= -300) {
        value = (struct decimal){block->counts[index] * part->channel.step.mantissa,
                                 part->channel.step.exponent};
    } else if (block_decimal(block, &part->channel, index, &value) != 0 &&
               decimal_from_double(block_value(block, &part->channel, index), &value) != 0) {
        return error_set(error, ERROR_RANGE, "channel %s: a value is not a number",
                         part->channel.name);
    }
    decimal_format(value, text);
    return (int)strlen(text);
}
