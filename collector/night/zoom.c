/* Summaries that keep every extreme.
 * Must never touch a database. Called by the writer and the reader. */
#include "collector/night/zoom.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "common/clock.h"

static const int64_t slot_length_ns[ZOOM_LEVELS] = {16 * NS_PER_S, 256 * NS_PER_S, 4096 * NS_PER_S};

static void summarise_counts(const struct block *block, struct zoom_summary *summary)
{
    int32_t min = block->counts[0];
    int32_t max = min;
    int64_t sum = 0;
    for (uint32_t i = 0; i < block->count; i++) {
        int32_t count = block->counts[i];
        min = count < min ? count : min;
        max = count > max ? count : max;
        sum += count;
    }
    summary->min_count = min;
    summary->max_count = max;
    summary->sum_counts = sum;
}

void zoom_from_counts(const struct channel *channel, int64_t min, int64_t max, int64_t sum,
                      struct zoom_bucket *bucket)
{
    double a = channel_value(channel, min);
    double b = channel_value(channel, max);
    bucket->min = fmin(a, b); /* a step may be negative */
    bucket->max = fmax(a, b);
    bucket->sum = (double)sum * decimal_to_double(channel->step) +
                  (double)bucket->count * decimal_to_double(channel->offset);
}

void zoom_summarise(const struct block *block, const struct channel *channel,
                    struct zoom_summary *summary)
{
    *summary = (struct zoom_summary){.values = {.t0_ns = block->t0_ns,
                                                .t1_ns = block_time_ns(block, block->count - 1),
                                                .count = block->count}};
    struct zoom_bucket *values = &summary->values;
    if (block->encoding == BLOCK_INT32) {
        summarise_counts(block, summary);
        zoom_from_counts(channel, summary->min_count, summary->max_count, summary->sum_counts,
                         values);
        return;
    }
    values->min = values->max = block_value(block, channel, 0);
    for (uint32_t i = 0; i < block->count; i++) {
        double value = block_value(block, channel, i);
        values->min = fmin(values->min, value);
        values->max = fmax(values->max, value);
        values->sum += value;
    }
}

void zoom_join(struct zoom_bucket *into, const struct zoom_bucket *other)
{
    if (into->count == 0) {
        *into = *other;
        return;
    }
    into->t0_ns = other->t0_ns < into->t0_ns ? other->t0_ns : into->t0_ns;
    into->t1_ns = other->t1_ns > into->t1_ns ? other->t1_ns : into->t1_ns;
    into->count += other->count;
    into->min = fmin(into->min, other->min);
    into->max = fmax(into->max, other->max);
    into->sum += other->sum;
}

int64_t zoom_slot(int level, int64_t t0_ns)
{
    int64_t length = slot_length_ns[level - 1];
    int64_t slot = t0_ns / length;
    return t0_ns % length < 0 ? slot - 1 : slot;
}

int64_t zoom_slot_length_ns(int level)
{
    return slot_length_ns[level - 1];
}

static int grow_index(struct zoom *zoom, size_t channel, struct error *error)
{
    if (channel < zoom->index_size) {
        return 0;
    }
    size_t size = channel + 256;
    uint32_t *index = realloc(zoom->index, size * sizeof *index);
    if (!index) {
        return error_set(error, ERROR_MEMORY, "zoom levels: out of memory");
    }
    memset(index + zoom->index_size, 0, (size - zoom->index_size) * sizeof *index);
    zoom->index = index;
    zoom->index_size = size;
    return 0;
}

static int grow_open(struct zoom *zoom, size_t count, struct error *error)
{
    if (count <= zoom->size) {
        return 0;
    }
    size_t size = count + 64;
    struct zoom_open *open = realloc(zoom->open, size * sizeof *open);
    if (!open) {
        return error_set(error, ERROR_MEMORY, "zoom levels: out of memory");
    }
    zoom->open = open;
    zoom->size = size;
    return 0;
}

/* NULL where memory ran out. A channel's id is never negative. */
static struct zoom_open *find_open(struct zoom *zoom, int64_t channel, struct error *error)
{
    size_t id = (size_t)channel;
    if (grow_index(zoom, id, error) != 0) {
        return NULL;
    }
    if (zoom->index[id] == 0) {
        if (grow_open(zoom, zoom->count + 1, error) != 0) {
            return NULL;
        }
        zoom->open[zoom->count] = (struct zoom_open){.channel = channel};
        zoom->index[id] = (uint32_t)++zoom->count;
    }
    return &zoom->open[zoom->index[id] - 1];
}

int zoom_add(struct zoom *zoom, int64_t channel, const struct zoom_bucket *bucket, zoom_emit emit,
             void *context, struct error *error)
{
    struct zoom_open *open = find_open(zoom, channel, error);
    if (!open) {
        return -1;
    }
    for (int level = 1; level <= ZOOM_LEVELS; level++) {
        struct zoom_bucket *filling = &open->levels[level - 1];
        struct zoom_bucket added = *bucket;
        added.slot = zoom_slot(level, bucket->t0_ns);
        if (filling->count > 0 && added.slot < filling->slot) {
            if (emit(context, channel, level, &added, error) != 0) {
                return -1;
            }
            continue;
        }
        if (filling->count > 0 && added.slot > filling->slot) {
            if (emit(context, channel, level, filling, error) != 0) {
                return -1;
            }
            filling->count = 0;
        }
        zoom_join(filling, &added);
    }
    return 0;
}

int zoom_finish(struct zoom *zoom, zoom_emit emit, void *context, struct error *error)
{
    for (size_t i = 0; i < zoom->count; i++) {
        for (int level = 1; level <= ZOOM_LEVELS; level++) {
            struct zoom_bucket *filling = &zoom->open[i].levels[level - 1];
            if (filling->count > 0 &&
                emit(context, zoom->open[i].channel, level, filling, error) != 0) {
                return -1;
            }
        }
    }
    for (size_t i = 0; i < zoom->count; i++) {
        zoom->index[zoom->open[i].channel] = 0;
    }
    zoom->count = 0;
    return 0;
}

void zoom_free(struct zoom *zoom)
{
    free(zoom->open);
    free(zoom->index);
    *zoom = (struct zoom){0};
}

int zoom_save(const struct zoom *zoom, struct zoom *saved, struct error *error)
{
    if (grow_open(saved, zoom->count, error) != 0) {
        return -1;
    }
    if (zoom->count > 0) {
        memcpy(saved->open, zoom->open, zoom->count * sizeof *zoom->open);
    }
    saved->count = zoom->count;
    return 0;
}

void zoom_restore(struct zoom *zoom, const struct zoom *saved)
{
    for (size_t i = saved->count; i < zoom->count; i++) {
        zoom->index[zoom->open[i].channel] = 0;
    }
    for (size_t i = 0; i < saved->count; i++) {
        zoom->index[saved->open[i].channel] = (uint32_t)i + 1;
    }
    if (saved->count > 0) {
        memcpy(zoom->open, saved->open, saved->count * sizeof *zoom->open);
    }
    zoom->count = saved->count;
}
