/* The samples of all nodes and channels of a night as one stream in time order.
 * Must never hold a block longer than until its last sample was given. Called by csv.c. */
#include "collector/export/csv_merge.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/timefmt.h"

struct csv_source {
    struct block block;
    struct channel channel;
    uint32_t node;
    size_t column;
    uint32_t next;
    int64_t time_ns; /* of the next sample */
    void *memory;    /* the block's samples and times */
    size_t memory_size;
    struct csv_source *next_free;
};

static int out_of_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "csv: out of memory");
}

static bool before(const struct csv_source *a, const struct csv_source *b)
{
    if (a->time_ns != b->time_ns) {
        return a->time_ns < b->time_ns;
    }
    return a->node != b->node ? a->node < b->node : a->column < b->column;
}

/* Moves the top down to its place, after its time has changed. */
static void sink(struct csv_merge *merge)
{
    struct csv_source **heap = merge->heap;
    struct csv_source *moved = heap[0];
    size_t at = 0;
    for (;;) {
        size_t child = 2 * at + 1;
        if (child + 1 < merge->heap_count && before(heap[child + 1], heap[child])) {
            child++;
        }
        if (child >= merge->heap_count || !before(heap[child], moved)) {
            break;
        }
        heap[at] = heap[child];
        at = child;
    }
    heap[at] = moved;
}

static int push(struct csv_merge *merge, struct csv_source *source, struct error *error)
{
    if (merge->heap_count == merge->heap_size) {
        size_t size = merge->heap_size ? 2 * merge->heap_size : 64;
        struct csv_source **heap = realloc(merge->heap, size * sizeof(struct csv_source *));
        if (!heap) {
            return out_of_memory(error);
        }
        merge->heap = heap;
        merge->heap_size = size;
    }
    size_t at = merge->heap_count++;
    while (at > 0 && before(source, merge->heap[(at - 1) / 2])) {
        merge->heap[at] = merge->heap[(at - 1) / 2];
        at = (at - 1) / 2;
    }
    merge->heap[at] = source;
    return 0;
}

static int compare_columns(const void *a, const void *b)
{
    return strcmp(((const struct csv_column *)a)->name, ((const struct csv_column *)b)->name);
}

static size_t find_column(const struct csv_merge *merge, const char *name)
{
    if (merge->column_count == 0) {
        return SIZE_MAX;
    }
    struct csv_column key;
    (void)snprintf(key.name, sizeof key.name, "%s", name);
    const struct csv_column *found =
        bsearch(&key, merge->columns, merge->column_count, sizeof *merge->columns, compare_columns);
    return found ? (size_t)(found - merge->columns) : SIZE_MAX;
}

struct column_context {
    struct csv_merge *merge;
    struct error *error;
};

static int add_column(struct csv_merge *merge, const char *name, struct error *error)
{
    if (find_column(merge, name) != SIZE_MAX) {
        return 0;
    }
    struct csv_column *columns =
        realloc(merge->columns, (merge->column_count + 1) * sizeof *columns);
    if (!columns) {
        return out_of_memory(error);
    }
    merge->columns = columns;
    (void)snprintf(columns[merge->column_count++].name, sizeof columns->name, "%s", name);
    qsort(columns, merge->column_count, sizeof *columns, compare_columns);
    return 0;
}

static int take_channel(void *context, uint32_t node, const struct channel *channel)
{
    const struct column_context *to = context;
    (void)node;
    return add_column(to->merge, channel->name, to->error);
}

static int add_clock(struct csv_merge *merge, struct csv_clock clock, struct error *error)
{
    if (merge->clock_count == merge->clock_size) {
        size_t size = merge->clock_size ? 2 * merge->clock_size : 256;
        struct csv_clock *clocks = realloc(merge->clocks, size * sizeof *clocks);
        if (!clocks) {
            return out_of_memory(error);
        }
        merge->clocks = clocks;
        merge->clock_size = size;
    }
    merge->clocks[merge->clock_count++] = clock;
    return 0;
}

/* What was known before the window holds at its beginning: the last of each node is moved there. */
static int take_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns)
{
    const struct column_context *to = context;
    struct csv_merge *merge = to->merge;
    struct csv_clock clock = {time_ns, node, clock_sd_ns};
    if (time_ns >= merge->to_ns) {
        return 0;
    }
    if (time_ns > merge->from_ns) {
        return add_clock(merge, clock, to->error);
    }
    clock.time_ns = merge->from_ns;
    size_t at = 0;
    while (at < merge->clock_count && merge->clocks[at].node < node) {
        at++;
    }
    if (at < merge->clock_count && merge->clocks[at].node == node) {
        merge->clocks[at] = clock;
        return 0;
    }
    if (add_clock(merge, clock, to->error) != 0) {
        return -1;
    }
    memmove(merge->clocks + at + 1, merge->clocks + at,
            (merge->clock_count - 1 - at) * sizeof *merge->clocks);
    merge->clocks[at] = clock;
    return 0;
}

static int next_row(struct csv_merge *merge, struct error *error)
{
    int more = night_blocks_next(merge->blocks, &merge->row, error);
    merge->has_row = more == 1;
    return more < 0 ? -1 : 0;
}

int csv_merge_open(struct csv_merge *merge, struct night_reader *reader, int64_t from_ns,
                   int64_t to_ns, struct error *error)
{
    struct column_context context = {merge, error};
    merge->from_ns = from_ns;
    merge->to_ns = to_ns;
    if (night_each_channel(reader, take_channel, &context, error) != 0 ||
        night_each_clock(reader, take_clock, &context, error) != 0 ||
        (merge->clock_count > 0 && add_column(merge, CSV_CLOCK_COLUMN, error) != 0) ||
        night_blocks_open(reader, SIZE_MAX, from_ns, to_ns, &merge->blocks, error) != 0) {
        return -1;
    }
    merge->clock_column = find_column(merge, CSV_CLOCK_COLUMN);
    return next_row(merge, error);
}

void csv_merge_close(struct csv_merge *merge)
{
    night_blocks_close(merge->blocks);
    for (size_t i = 0; i < merge->heap_count; i++) {
        free(merge->heap[i]->memory);
        free(merge->heap[i]);
    }
    while (merge->free) {
        struct csv_source *next = merge->free->next_free;
        free(merge->free->memory);
        free(merge->free);
        merge->free = next;
    }
    free(merge->heap);
    free(merge->clocks);
    free(merge->columns);
}

static struct csv_source *acquire(struct csv_merge *merge)
{
    struct csv_source *source = merge->free;
    if (source) {
        merge->free = source->next_free;
        return source;
    }
    return calloc(1, sizeof *source);
}

static void release(struct csv_merge *merge, struct csv_source *source)
{
    source->next_free = merge->free;
    merge->free = source;
}

/* The cursor's row is valid until its next step only. */
static int copy_block(struct csv_source *source, const struct block *block, struct error *error)
{
    bool whole = block->encoding == BLOCK_INT32;
    size_t samples = block->count * (whole ? sizeof *block->counts : sizeof *block->decimals);
    size_t times = block->period_ps > 0 ? 0 : block->count * sizeof *block->times_ns;
    if (samples + times > source->memory_size) {
        void *memory = realloc(source->memory, samples + times);
        if (!memory) {
            return out_of_memory(error);
        }
        source->memory = memory;
        source->memory_size = samples + times;
    }
    char *at = source->memory;
    source->block = *block;
    if (times > 0) { /* first, since they need the larger alignment */
        source->block.times_ns = memcpy(at, block->times_ns, times);
    }
    if (whole) {
        source->block.counts = memcpy(at + times, block->counts, samples);
    } else {
        source->block.decimals = memcpy(at + times, block->decimals, samples);
    }
    return 0;
}

static void set_time(struct csv_source *source)
{
    if (source->next < source->block.count) {
        source->time_ns = block_time_ns(&source->block, source->next);
    }
}

static int take_row(struct csv_merge *merge, struct error *error)
{
    struct csv_source *source = acquire(merge);
    if (!source) {
        return out_of_memory(error);
    }
    source->node = merge->row.node;
    source->channel = merge->row.channel;
    source->column = find_column(merge, merge->row.channel.name);
    source->next = 0;
    int result = copy_block(source, &merge->row.block, error);
    if (result == 0 && source->column == SIZE_MAX) {
        result = error_set(error, ERROR_STATE, "csv: channel %s appeared since the export began",
                           source->channel.name);
    }
    while (result == 0 && source->next < source->block.count &&
           block_time_ns(&source->block, source->next) < merge->from_ns) {
        source->next++;
    }
    if (result != 0 || source->next == source->block.count) {
        release(merge, source);
        return result;
    }
    set_time(source);
    if (push(merge, source, error) != 0) {
        release(merge, source);
        return -1;
    }
    return 0;
}

/* Every block that begins no later than the first sample on hand. */
static int fill(struct csv_merge *merge, struct error *error)
{
    while (merge->has_row &&
           (merge->heap_count == 0 || merge->row.block.t0_ns <= merge->heap[0]->time_ns)) {
        if (take_row(merge, error) != 0 || next_row(merge, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int value_text(const struct csv_source *source, char text[DECIMAL_TEXT_SIZE],
                      struct error *error)
{
    struct decimal value;
    if (block_decimal(&source->block, &source->channel, source->next, &value) != 0 &&
        decimal_from_double(block_value(&source->block, &source->channel, source->next), &value) !=
            0) {
        return error_set(error, ERROR_RANGE, "csv: channel %s: a value is not a number",
                         source->channel.name);
    }
    decimal_format(value, text);
    return 0;
}

/* Whether the next clock row comes before the first sample on hand. */
static bool clock_is_next(const struct csv_merge *merge)
{
    if (merge->clock_next == merge->clock_count) {
        return false;
    }
    if (merge->heap_count == 0) {
        return true;
    }
    const struct csv_clock *clock = &merge->clocks[merge->clock_next];
    const struct csv_source *top = merge->heap[0];
    return clock->time_ns != top->time_ns ? clock->time_ns < top->time_ns
                                          : clock->node <= top->node;
}

static void take_clock_sample(struct csv_merge *merge, struct csv_sample *sample)
{
    const struct csv_clock *clock = &merge->clocks[merge->clock_next++];
    char text[TIMEFMT_SIZE];
    timefmt_seconds(clock->sd_ns, text);
    *sample = (struct csv_sample){
        .time_ns = clock->time_ns, .node = clock->node, .column = merge->clock_column};
    sample->cell.filled = true;
    (void)snprintf(sample->cell.text, sizeof sample->cell.text, "%s", text);
}

int csv_merge_next(struct csv_merge *merge, struct csv_sample *sample, struct error *error)
{
    if (fill(merge, error) != 0) {
        return -1;
    }
    if (clock_is_next(merge)) {
        take_clock_sample(merge, sample);
        return 1;
    }
    if (merge->heap_count == 0 || merge->heap[0]->time_ns >= merge->to_ns) {
        return 0;
    }
    struct csv_source *top = merge->heap[0];
    sample->time_ns = top->time_ns;
    sample->node = top->node;
    sample->column = top->column;
    sample->cell.filled = true;
    if (value_text(top, sample->cell.text, error) != 0) {
        return -1;
    }
    top->next++;
    if (top->next == top->block.count) {
        merge->heap[0] = merge->heap[--merge->heap_count];
        release(merge, top);
    } else {
        set_time(top);
    }
    if (merge->heap_count > 0) {
        sink(merge);
    }
    return 1;
}
