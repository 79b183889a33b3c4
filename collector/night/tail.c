/* The blocks of one message as bytes that are quick to make: counts in as few whole bytes as their
 * range needs. Must never trust the bytes. Called by the night's writer and reader. */
#include "collector/night/tail.h"

#include <stdlib.h>
#include <string.h>

#include "collector/night/codec_internal.h"

#define KIND_DECIMAL 0x01u
#define KIND_TIMES 0x02u
#define HEAD_MAX (2u + 6u * VARINT_MAX)

static int grow_bytes(struct tail_bytes *out, size_t more, struct error *error)
{
    if (out->length + more <= out->size) {
        return 0;
    }
    size_t size = 2 * (out->length + more);
    uint8_t *bytes = realloc(out->bytes, size);
    if (!bytes) {
        return error_set(error, ERROR_MEMORY, "night: out of memory");
    }
    out->bytes = bytes;
    out->size = size;
    return 0;
}

static void put_number(struct tail_bytes *out, uint64_t value)
{
    out->length += codec_put_varint(out->bytes + out->length, value);
}

static void put_counts(const int32_t *counts, uint32_t count, struct tail_bytes *out)
{
    int32_t min = counts[0];
    int32_t max = min;
    for (uint32_t i = 0; i < count; i++) {
        min = counts[i] < min ? counts[i] : min;
        max = counts[i] > max ? counts[i] : max;
    }
    const uint32_t range = (uint32_t)max - (uint32_t)min;
    const unsigned width = range <= UINT8_MAX ? 1 : range <= UINT16_MAX ? 2 : 4;
    put_number(out, codec_zigzag((uint64_t)min));
    put_number(out, width);
    uint8_t *bytes = out->bytes + out->length;
    for (unsigned byte = 0; byte < width; byte++) {
        for (uint32_t i = 0; i < count; i++) {
            bytes[byte * count + i] = (uint8_t)(((uint32_t)counts[i] - (uint32_t)min) >> 8 * byte);
        }
    }
    out->length += (size_t)width * count;
}

static int put_run(struct tail_bytes *out, const struct codec_bytes *run, struct error *error)
{
    if (grow_bytes(out, run->length + 2 * VARINT_MAX, error) != 0) {
        return -1;
    }
    put_number(out, run->length);
    memcpy(out->bytes + out->length, run->bytes, run->length);
    out->length += run->length;
    return 0;
}

static int put_block(struct codec *codec, const struct block *block, int64_t node_t0_ns,
                     struct tail_bytes *out, struct error *error)
{
    struct codec_bytes run;
    const bool decimal = block->encoding == BLOCK_DECIMAL;
    const bool even = block->period_ps > 0;
    if (grow_bytes(out, HEAD_MAX + 4 * (size_t)block->count, error) != 0) {
        return -1;
    }
    put_number(out, block->channel);
    put_number(out, (decimal ? KIND_DECIMAL : 0u) | (even ? 0u : KIND_TIMES));
    put_number(out, block->count);
    put_number(out, codec_zigzag((uint64_t)block->t0_ns));
    put_number(out, codec_zigzag((uint64_t)node_t0_ns));
    put_number(out, even ? (uint64_t)block->period_ps : 0);
    if (!even) {
        codec_encode_times(codec, block->times_ns, block->count, &run);
        if (put_run(out, &run, error) != 0 ||
            grow_bytes(out, HEAD_MAX + 4 * (size_t)block->count, error) != 0) {
            return -1;
        }
    }
    if (!decimal) {
        put_counts(block->counts, block->count, out);
        return 0;
    }
    codec_encode_decimals(codec, block->decimals, block->count, &run);
    put_number(out, (uint64_t)run.kind);
    return put_run(out, &run, error);
}

int tail_encode(struct codec *codec, const struct block *blocks, const int64_t *node_t0_ns,
                size_t count, struct tail_bytes *out, struct error *error)
{
    out->length = 0;
    for (size_t i = 0; i < count; i++) {
        if (put_block(codec, &blocks[i], node_t0_ns[i], out, error) != 0) {
            return -1;
        }
    }
    return 0;
}

void tail_bytes_free(struct tail_bytes *bytes)
{
    free(bytes->bytes);
    *bytes = (struct tail_bytes){0};
}

void tail_memory_free(struct tail_memory *memory)
{
    free(memory->counts);
    free(memory->times_ns);
    free(memory->decimals);
    *memory = (struct tail_memory){0};
}

/* NULL: out of memory, and what was there is as it was. */
static void *room(void *memory, size_t *size, uint32_t count, size_t each)
{
    if (memory && count <= *size) {
        return memory;
    }
    void *more = realloc(memory, count * each);
    if (more) {
        *size = count;
    }
    return more;
}

int tail_memory_room(struct tail_memory *memory, enum block_encoding encoding, bool times,
                     uint32_t count, struct error *error)
{
    bool good = true;
    if (encoding == BLOCK_INT32) {
        int32_t *counts = room(memory->counts, &memory->counts_size, count, sizeof *counts);
        memory->counts = counts ? counts : memory->counts;
        good = counts != NULL;
    } else {
        struct decimal *decimals =
            room(memory->decimals, &memory->decimals_size, count, sizeof *decimals);
        memory->decimals = decimals ? decimals : memory->decimals;
        good = decimals != NULL;
    }
    if (good && times) {
        int64_t *own = room(memory->times_ns, &memory->times_size, count, sizeof *own);
        memory->times_ns = own ? own : memory->times_ns;
        good = own != NULL;
    }
    return good ? 0 : error_set(error, ERROR_MEMORY, "night: out of memory");
}

static int damaged(struct error *error)
{
    return error_set(error, ERROR_FORMAT, "damaged message");
}

static const uint8_t *get_run(struct codec_cursor *cursor, size_t *length)
{
    uint64_t told = codec_get_varint(cursor);
    if (cursor->bad || told > (uint64_t)(cursor->end - cursor->at)) {
        return NULL;
    }
    const uint8_t *run = cursor->at;
    *length = (size_t)told;
    cursor->at += told;
    return run;
}

static int get_times(struct codec *codec, struct codec_cursor *cursor, struct tail_memory *memory,
                     struct block *block, struct error *error)
{
    size_t length = 0;
    const uint8_t *run = get_run(cursor, &length);
    if (!run) {
        return damaged(error);
    }
    block->times_ns = memory->times_ns;
    return codec_decode_times(codec, run, length, block->t0_ns, block->count, memory->times_ns,
                              error);
}

static int get_decimals(struct codec *codec, struct codec_cursor *cursor,
                        struct tail_memory *memory, struct block *block, struct error *error)
{
    size_t length = 0;
    uint64_t kind = codec_get_varint(cursor);
    const uint8_t *run = get_run(cursor, &length);
    if (!run || (kind != CODEC_DECIMAL && kind != CODEC_DECIMAL_ZSTD)) {
        return damaged(error);
    }
    block->decimals = memory->decimals;
    return codec_decode_decimals(codec, (enum codec_kind)kind, run, length, block->count,
                                 memory->decimals, error);
}

static int get_counts(struct codec_cursor *cursor, struct tail_memory *memory, struct block *block,
                      struct error *error)
{
    const uint32_t count = block->count;
    uint32_t min = (uint32_t)codec_unzigzag(codec_get_varint(cursor));
    uint64_t width = codec_get_varint(cursor);
    if (cursor->bad || (width != 1 && width != 2 && width != 4) ||
        (size_t)(cursor->end - cursor->at) / width < count) {
        return damaged(error);
    }
    int32_t *counts = memory->counts;
    block->counts = counts;
    const uint8_t *bytes = cursor->at;
    for (uint32_t i = 0; i < count; i++) {
        counts[i] = (int32_t)(min + bytes[i]);
    }
    for (unsigned byte = 1; byte < width; byte++) {
        for (uint32_t i = 0; i < count; i++) {
            counts[i] =
                (int32_t)((uint32_t)counts[i] + ((uint32_t)bytes[byte * count + i] << 8 * byte));
        }
    }
    cursor->at += width * count;
    return 0;
}

int tail_next(struct codec *codec, struct tail_reader *reader, struct tail_memory *memory,
              struct block *block, int64_t *node_t0_ns, struct error *error)
{
    struct codec_cursor cursor = {.at = reader->at, .end = reader->end};
    if (cursor.at == cursor.end) {
        return 0;
    }
    uint64_t channel = codec_get_varint(&cursor);
    uint64_t kind = codec_get_varint(&cursor);
    uint64_t count = codec_get_varint(&cursor);
    *block = (struct block){.channel = (uint16_t)channel,
                            .encoding = kind & KIND_DECIMAL ? BLOCK_DECIMAL : BLOCK_INT32,
                            .count = (uint32_t)count,
                            .t0_ns = (int64_t)codec_unzigzag(codec_get_varint(&cursor))};
    *node_t0_ns = (int64_t)codec_unzigzag(codec_get_varint(&cursor));
    uint64_t period = codec_get_varint(&cursor);
    block->period_ps = (int64_t)period;
    if (cursor.bad || channel >= NODE_CHANNELS_MAX || kind > (KIND_DECIMAL | KIND_TIMES) ||
        count == 0 || count > BLOCK_SAMPLES_MAX || period > INT64_MAX ||
        (period == 0) != ((kind & KIND_TIMES) != 0)) {
        return damaged(error);
    }
    if (tail_memory_room(memory, block->encoding, period == 0, block->count, error) != 0) {
        return -1;
    }
    if (period == 0 && get_times(codec, &cursor, memory, block, error) != 0) {
        return -1;
    }
    int result = block->encoding == BLOCK_DECIMAL
                     ? get_decimals(codec, &cursor, memory, block, error)
                     : get_counts(&cursor, memory, block, error);
    reader->at = cursor.at;
    return result == 0 ? 1 : -1;
}
