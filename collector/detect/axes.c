/* A queue an axis; what is at the head of all of them at the same time leaves together.
 * Must never pair samples more than half a period apart. Called by detector.
 */
#include "collector/detect/axes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Several axes: one may be a whole block ahead of the others. */
#define QUEUE_ALONE 1024u
#define QUEUE_SEVERAL (2u * BLOCK_SAMPLES_MAX)
/* Beyond this no sum of squares of three axes fits a double. */
#define VALUE_MAX 1e150
#define EXACT_POWER_MAX 22

/* Counts become the double nearest to their exact decimal, so that the same value reads the same
 * whatever step it came with; that takes whole numbers over a power of ten that is exact. */
static void choose_scaling(struct axis_queue *queue)
{
    const struct channel *channel = &queue->channel;
    int exponent = channel->step.exponent;
    if (channel->offset.mantissa != 0 && channel->offset.exponent < exponent) {
        exponent = channel->offset.exponent;
    }
    exponent = exponent > 0 ? 0 : exponent;
    queue->scaled = exponent >= -EXACT_POWER_MAX &&
                    decimal_rescale(channel->step, exponent, &queue->step_count) == 0 &&
                    decimal_rescale(channel->offset, exponent, &queue->offset_count) == 0 &&
                    llabs(queue->step_count) < (INT64_C(1) << 21) &&
                    llabs(queue->offset_count) < (INT64_C(1) << 52);
    queue->divisor = 1.0;
    for (int e = exponent; e < 0 && queue->scaled; e++) {
        queue->divisor *= 10.0;
    }
}

int axes_init(struct axes *axes, const struct channel *channels, const uint16_t *indices,
              size_t axis_count, struct error *error)
{
    memset(axes, 0, sizeof *axes);
    axes->axis_count = axis_count;
    axes->capacity = axis_count == 1 ? QUEUE_ALONE : QUEUE_SEVERAL;
    axes->half_period_ns = channels[indices[0]].period_ps / 2000;
    for (size_t a = 0; a < axis_count; a++) {
        struct axis_queue *queue = &axes->queue[a];
        queue->channel_index = indices[a];
        queue->channel = channels[indices[a]];
        choose_scaling(queue);
        queue->times = malloc(axes->capacity * sizeof *queue->times);
        queue->values = malloc(axes->capacity * sizeof *queue->values);
        if (!queue->times || !queue->values) {
            axes_free(axes);
            return error_set(error, ERROR_MEMORY, "detector: samples of %s",
                             channels[indices[a]].name);
        }
    }
    return 0;
}

void axes_free(struct axes *axes)
{
    for (size_t a = 0; a < VECTOR_AXES_MAX; a++) {
        free(axes->queue[a].times);
        free(axes->queue[a].values);
    }
    memset(axes, 0, sizeof *axes);
}

static void drop_oldest(struct axes *axes, struct axis_queue *queue, size_t count)
{
    queue->head += count;
    queue->count -= count;
    axes->dropped += count;
}

/* Makes room behind the queue's last sample; an overfull queue loses its oldest ones. */
static void make_room(struct axes *axes, struct axis_queue *queue, size_t wanted)
{
    if (queue->count + wanted > axes->capacity) {
        size_t excess = queue->count + wanted - axes->capacity;
        drop_oldest(axes, queue, excess < queue->count ? excess : queue->count);
    }
    if (queue->count == 0) {
        queue->head = 0;
    }
    if (queue->head + queue->count + wanted > axes->capacity && queue->head > 0) {
        memmove(queue->times, queue->times + queue->head, queue->count * sizeof *queue->times);
        memmove(queue->values, queue->values + queue->head, queue->count * sizeof *queue->values);
        queue->head = 0;
    }
}

static void copy_times(const struct block *block, uint32_t from, size_t count, int64_t *times)
{
    if (block->period_ps == 0) {
        memcpy(times, block->times_ns + from, count * sizeof *times);
        return;
    }
    if (block->period_ps > INT64_MAX / (2 * (int64_t)BLOCK_SAMPLES_MAX) ||
        block->count > BLOCK_SAMPLES_MAX) {
        for (size_t i = 0; i < count; i++) {
            times[i] = block_time_ns(block, from + (uint32_t)i);
        }
        return;
    }
    /* The same as block_time_ns, where nothing can overflow. */
    int64_t elapsed_ps = (int64_t)from * block->period_ps + 500;
    for (size_t i = 0; i < count; i++) {
        times[i] = block->t0_ns + elapsed_ps / 1000;
        elapsed_ps += block->period_ps;
    }
}

static void copy_values(const struct axis_queue *queue, const struct block *block, uint32_t from,
                        size_t count, double *values)
{
    if (block->encoding == BLOCK_INT32 && queue->scaled) {
        const int32_t *counts = block->counts + from;
        for (size_t i = 0; i < count; i++) {
            values[i] =
                (double)(counts[i] * queue->step_count + queue->offset_count) / queue->divisor;
        }
        return;
    }
    for (size_t i = 0; i < count; i++) {
        double value = block_value(block, &queue->channel, from + (uint32_t)i);
        values[i] = fmin(fmax(value, -VALUE_MAX), VALUE_MAX);
    }
}

uint32_t axes_push(struct axes *axes, const struct block *block, uint32_t from)
{
    struct axis_queue *queue = axes->queue;
    while (queue < axes->queue + axes->axis_count && queue->channel_index != block->channel) {
        queue++;
    }
    if (queue == axes->queue + axes->axis_count || from >= block->count) {
        return 0;
    }
    size_t count = block->count - from;
    count = count < axes->capacity / 2 ? count : axes->capacity / 2;
    make_room(axes, queue, count);
    size_t at = queue->head + queue->count;
    copy_times(block, from, count, queue->times + at);
    copy_values(queue, block, from, count, queue->values + at);
    queue->count += count;
    return (uint32_t)count;
}

/* Drops heads that are older than the newest head by more than half a period. */
static bool align_heads(struct axes *axes)
{
    for (;;) {
        int64_t newest = INT64_MIN;
        for (size_t a = 0; a < axes->axis_count; a++) {
            struct axis_queue *queue = &axes->queue[a];
            if (queue->count == 0) {
                return false;
            }
            int64_t head_ns = queue->times[queue->head];
            newest = head_ns > newest ? head_ns : newest;
        }
        bool dropped = false;
        for (size_t a = 0; a < axes->axis_count; a++) {
            struct axis_queue *queue = &axes->queue[a];
            if (newest - queue->times[queue->head] > axes->half_period_ns) {
                drop_oldest(axes, queue, 1);
                dropped = true;
            }
        }
        if (!dropped) {
            return true;
        }
    }
}

/* How many samples from the heads on agree in time on all axes. */
static size_t count_aligned(const struct axes *axes)
{
    size_t count = axes->queue[0].count;
    const int64_t *first = axes->queue[0].times + axes->queue[0].head;
    for (size_t a = 1; a < axes->axis_count; a++) {
        const struct axis_queue *queue = &axes->queue[a];
        const int64_t *other = queue->times + queue->head;
        count = queue->count < count ? queue->count : count;
        size_t i = 0;
        while (i < count && llabs(other[i] - first[i]) <= axes->half_period_ns) {
            i++;
        }
        count = i;
    }
    return count;
}

bool axes_take(struct axes *axes, struct axes_run *run)
{
    if (!align_heads(axes)) {
        return false;
    }
    size_t count = count_aligned(axes);
    /* The heads agree with the newest head; the second and third may still lie further apart. */
    count = count > 0 ? count : 1;
    run->count = count;
    run->times = axes->queue[0].times + axes->queue[0].head;
    for (size_t a = 0; a < axes->axis_count; a++) {
        struct axis_queue *queue = &axes->queue[a];
        run->values[a] = queue->values + queue->head;
        queue->head += count;
        queue->count -= count;
    }
    return true;
}

void axes_expire(struct axes *axes, int64_t until_ns)
{
    for (size_t a = 0; a < axes->axis_count; a++) {
        struct axis_queue *queue = &axes->queue[a];
        while (queue->count > 0 && queue->times[queue->head] < until_ns - axes->half_period_ns) {
            drop_oldest(axes, queue, 1);
        }
    }
}

bool axes_waiting(const struct axes *axes)
{
    for (size_t a = 0; a < axes->axis_count; a++) {
        if (axes->queue[a].count > 0) {
            return true;
        }
    }
    return false;
}
