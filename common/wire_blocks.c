/* Blocks as octets: counts and explicit times as differences, each in a varint.
 * Must never allocate for a number of samples that the octets left could not hold.
 * Called by wire.c only. */
#include "common/wire_blocks.h"

#include <stdlib.h>

#define KIND_DECIMAL 0x01
#define KIND_TIMES 0x02
#define TIME_NS_MAX ((INT64_C(1) << 62) - 1)
#define MANTISSA_MAX INT64_C(999999999999999999) /* 18 digits, as decimal.h keeps them */
#define EXPONENT_MAX 400

__extension__ typedef __int128 wide;

/* How much of the arena the blocks so far take. */
struct used {
    size_t counts;
    size_t times;
    size_t decimals;
    size_t samples;
};

bool wire_time_valid(int64_t ns)
{
    return ns >= -TIME_NS_MAX && ns <= TIME_NS_MAX;
}

static bool even_span_valid(const struct block *block)
{
    if (block->period_ps <= 0 || !wire_time_valid(block->t0_ns)) {
        return false;
    }
    wide last = (wide)block->t0_ns + (wide)block->period_ps * block->count / 1000;
    return last <= TIME_NS_MAX;
}

static bool times_valid(const struct block *block)
{
    if (!wire_time_valid(block->t0_ns) || block->period_ps != 0) {
        return false;
    }
    if (block->count > 0 && (!block->times_ns || block->times_ns[0] != block->t0_ns)) {
        return false;
    }
    for (uint32_t i = 1; i < block->count; i++) {
        if (block->times_ns[i] <= block->times_ns[i - 1]) {
            return false;
        }
    }
    return block->count == 0 || wire_time_valid(block->times_ns[block->count - 1]);
}

static bool decimal_valid(int64_t mantissa, int64_t exponent)
{
    return mantissa >= -MANTISSA_MAX && mantissa <= MANTISSA_MAX && exponent >= -EXPONENT_MAX &&
           exponent <= EXPONENT_MAX;
}

static bool samples_valid(const struct block *block)
{
    if (block->encoding == BLOCK_INT32) {
        return block->count == 0 || block->counts;
    }
    if (block->encoding != BLOCK_DECIMAL || (block->count > 0 && !block->decimals)) {
        return false;
    }
    for (uint32_t i = 0; i < block->count; i++) {
        if (!decimal_valid(block->decimals[i].mantissa, block->decimals[i].exponent)) {
            return false;
        }
    }
    return true;
}

static int fault(size_t index, const char *why, enum error_code code, struct error *error)
{
    return error_set(error, code, "blocks message: block %zu: %s", index, why);
}

int wire_blocks_check(const struct frame *frame, struct error *error)
{
    size_t samples = 0;
    for (size_t i = 0; i < frame->block_count; i++) {
        const struct block *block = &frame->blocks[i];
        if (block->channel >= NODE_CHANNELS_MAX) {
            return fault(i, "channel out of range", ERROR_RANGE, error);
        }
        samples += block->count;
        if (block->count > BLOCK_SAMPLES_MAX || samples > WIRE_SAMPLES_MAX) {
            return fault(i, "too many samples", ERROR_RANGE, error);
        }
        if (block->period_ps != 0 ? !even_span_valid(block) : !times_valid(block)) {
            return fault(i, "times out of range or not rising", ERROR_RANGE, error);
        }
        if (!samples_valid(block)) {
            return fault(i, "samples missing or out of range", ERROR_RANGE, error);
        }
    }
    return 0;
}

static void write_times(struct bytes_writer *writer, const struct block *block, int64_t until_ns)
{
    bytes_write_zigzag(writer, block->t0_ns - until_ns);
    if (block->period_ps > 0) {
        bytes_write_varint(writer, (uint64_t)block->period_ps);
        return;
    }
    for (uint32_t i = 1; i < block->count; i++) {
        bytes_write_varint(writer, (uint64_t)(block->times_ns[i] - block->times_ns[i - 1]));
    }
}

static void write_samples(struct bytes_writer *writer, const struct block *block)
{
    int64_t last = 0;
    for (uint32_t i = 0; i < block->count; i++) {
        if (block->encoding == BLOCK_DECIMAL) {
            bytes_write_zigzag(writer, block->decimals[i].mantissa);
            bytes_write_zigzag(writer, block->decimals[i].exponent);
        } else {
            bytes_write_zigzag(writer, block->counts[i] - last);
            last = block->counts[i];
        }
    }
}

void wire_blocks_write(struct bytes_writer *writer, const struct frame *frame)
{
    for (size_t i = 0; i < frame->block_count; i++) {
        const struct block *block = &frame->blocks[i];
        bytes_write_u8(writer, (uint8_t)block->channel);
        bytes_write_u8(writer, (uint8_t)((block->encoding == BLOCK_DECIMAL ? KIND_DECIMAL : 0) |
                                         (block->period_ps == 0 ? KIND_TIMES : 0)));
        bytes_write_varint(writer, block->count);
        write_times(writer, block, frame->until_node_ns);
        write_samples(writer, block);
    }
}

/* Makes room for `more` elements after `used`; never shrinks. */
static int reserve(void **array, size_t *size, size_t used, size_t more, size_t width,
                   struct error *error)
{
    size_t need = used + more;
    if (need <= *size) {
        return 0;
    }
    size_t grown = *size * 2 > need ? *size * 2 : need;
    if (grown > WIRE_SAMPLES_MAX) {
        grown = WIRE_SAMPLES_MAX;
    }
    void *moved = realloc(*array, grown * width);
    if (!moved) {
        return error_set(error, ERROR_MEMORY, "blocks message: %zu samples: out of memory", grown);
    }
    *array = moved;
    *size = grown;
    return 0;
}

static int read_times(struct bytes_reader *reader, struct wire_arena *arena, struct block *block,
                      struct used *used, struct error *error)
{
    void *array = arena->times_ns;
    int failed = reserve(&array, &arena->times_size, used->times, block->count,
                         sizeof *arena->times_ns, error);
    arena->times_ns = array;
    if (failed != 0) {
        return -1;
    }
    int64_t time_ns = block->t0_ns;
    for (uint32_t i = 0; i < block->count; i++) {
        if (i > 0) {
            uint64_t step = bytes_read_varint(reader);
            if (step == 0 || step > (uint64_t)(TIME_NS_MAX - time_ns)) {
                return error_set(error, ERROR_RANGE, "times out of range or not rising");
            }
            time_ns += (int64_t)step;
        }
        arena->times_ns[used->times++] = time_ns;
    }
    return 0;
}

static int read_counts(struct bytes_reader *reader, struct wire_arena *arena, struct block *block,
                       struct used *used, struct error *error)
{
    void *array = arena->counts;
    int failed = reserve(&array, &arena->counts_size, used->counts, block->count,
                         sizeof *arena->counts, error);
    arena->counts = array;
    if (failed != 0) {
        return -1;
    }
    int64_t last = 0;
    for (uint32_t i = 0; i < block->count; i++) {
        int64_t step = bytes_read_zigzag(reader);
        if (step < INT32_MIN - last || step > INT32_MAX - last) {
            return error_set(error, ERROR_RANGE, "sample out of range");
        }
        last += step;
        arena->counts[used->counts++] = (int32_t)last;
    }
    return 0;
}

static int read_decimals(struct bytes_reader *reader, struct wire_arena *arena, struct block *block,
                         struct used *used, struct error *error)
{
    void *array = arena->decimals;
    int failed = reserve(&array, &arena->decimals_size, used->decimals, block->count,
                         sizeof *arena->decimals, error);
    arena->decimals = array;
    if (failed != 0) {
        return -1;
    }
    for (uint32_t i = 0; i < block->count; i++) {
        int64_t mantissa = bytes_read_zigzag(reader);
        int64_t exponent = bytes_read_zigzag(reader);
        if (!decimal_valid(mantissa, exponent)) {
            return error_set(error, ERROR_RANGE, "sample out of range");
        }
        arena->decimals[used->decimals++] =
            (struct decimal){.mantissa = mantissa, .exponent = (int16_t)exponent};
    }
    return 0;
}

/* The block's fixed fields; *explicit_times says how its times follow. */
static int read_block_head(struct bytes_reader *reader, int64_t until_ns, struct block *block,
                           bool *explicit_times, struct error *error)
{
    uint8_t channel = bytes_read_u8(reader);
    uint8_t kind = bytes_read_u8(reader);
    uint64_t count = bytes_read_varint(reader);
    int64_t before = bytes_read_zigzag(reader);
    if (channel >= NODE_CHANNELS_MAX || (kind & ~(KIND_DECIMAL | KIND_TIMES)) != 0) {
        return error_set(error, ERROR_FORMAT, "unknown channel or kind");
    }
    if (count > BLOCK_SAMPLES_MAX || count > bytes_left(reader)) {
        return error_set(error, ERROR_RANGE, "more samples than octets or than allowed");
    }
    wide t0 = (wide)until_ns + before;
    if (t0 < -TIME_NS_MAX || t0 > TIME_NS_MAX) {
        return error_set(error, ERROR_RANGE, "times out of range or not rising");
    }
    block->channel = channel;
    block->encoding = kind & KIND_DECIMAL ? BLOCK_DECIMAL : BLOCK_INT32;
    block->count = (uint32_t)count;
    block->t0_ns = (int64_t)t0;
    *explicit_times = (kind & KIND_TIMES) != 0;
    return 0;
}

static int read_block(struct bytes_reader *reader, int64_t until_ns, struct wire_arena *arena,
                      struct used *used, struct block *block, struct error *error)
{
    bool explicit_times = false;
    if (read_block_head(reader, until_ns, block, &explicit_times, error) != 0) {
        return -1;
    }
    used->samples += block->count;
    if (used->samples > WIRE_SAMPLES_MAX) {
        return error_set(error, ERROR_RANGE, "too many samples");
    }
    if (explicit_times) {
        if (read_times(reader, arena, block, used, error) != 0) {
            return -1;
        }
    } else {
        uint64_t period = bytes_read_varint(reader);
        block->period_ps = period > INT64_MAX ? -1 : (int64_t)period;
        if (!even_span_valid(block)) {
            return error_set(error, ERROR_RANGE, "times out of range or not rising");
        }
    }
    return block->encoding == BLOCK_DECIMAL ? read_decimals(reader, arena, block, used, error)
                                            : read_counts(reader, arena, block, used, error);
}

/* Only now that the arrays no longer move. */
static void point_into(const struct wire_arena *arena, struct frame *frame)
{
    struct used used = {0};
    for (size_t i = 0; i < frame->block_count; i++) {
        struct block *block = &frame->blocks[i];
        if (block->count == 0) {
            continue;
        }
        if (block->period_ps == 0) {
            block->times_ns = &arena->times_ns[used.times];
            used.times += block->count;
        }
        if (block->encoding == BLOCK_DECIMAL) {
            block->decimals = &arena->decimals[used.decimals];
            used.decimals += block->count;
        } else {
            block->counts = &arena->counts[used.counts];
            used.counts += block->count;
        }
    }
}

int wire_blocks_read(struct bytes_reader *reader, struct wire_arena *arena, struct frame *frame,
                     struct error *error)
{
    struct used used = {0};
    for (size_t i = 0; i < frame->block_count; i++) {
        int failed =
            read_block(reader, frame->until_node_ns, arena, &used, &frame->blocks[i], error);
        /* First, since whatever was read past the end is 0 and means nothing. */
        if (reader->failed) {
            return fault(i, "cut short or a number misspelt", ERROR_FORMAT, error);
        }
        if (failed != 0) {
            return error_wrap(error, "blocks message: block %zu", i);
        }
    }
    point_into(arena, frame);
    return 0;
}
