/* Exact decimals and explicit times as varints, under zstd where that is shorter.
 * Must never trust the bytes it decodes. Called by the night's writer and reader. */
#include "collector/night/codec_internal.h"

#include <string.h>

enum times_form { TIMES_PLAIN = 0, TIMES_ZSTD = 1 };

void codec_encode_decimals(struct codec *codec, const struct decimal *decimals, uint32_t count,
                           struct codec_bytes *out)
{
    size_t length = 0;
    int16_t exponent = 0;
    for (uint32_t i = 0; i < count; i++) {
        int64_t step = (int64_t)decimals[i].exponent - exponent;
        exponent = decimals[i].exponent;
        length += codec_put_varint(codec->plain + length, codec_zigzag((uint64_t)step));
        length +=
            codec_put_varint(codec->plain + length, codec_zigzag((uint64_t)decimals[i].mantissa));
    }
    size_t packed = codec_zstd(codec, codec->samples, length, codec->plain, length);
    *out = (struct codec_bytes){CODEC_DECIMAL_ZSTD, codec->samples, packed};
    if (packed == 0 || packed >= length) {
        memcpy(codec->samples, codec->plain, length);
        *out = (struct codec_bytes){CODEC_DECIMAL, codec->samples, length};
    }
}

/* The plain varints: as they are, or unpacked into the scratch. */
static int open_varints(struct codec *codec, bool packed, const uint8_t *bytes, size_t length,
                        struct codec_cursor *cursor)
{
    if (packed) {
        length =
            ZSTD_decompressDCtx(codec->decompress, codec->plain, CODEC_SCRATCH_SIZE, bytes, length);
        if (ZSTD_isError(length)) {
            return -1;
        }
        bytes = codec->plain;
    }
    *cursor = (struct codec_cursor){.at = bytes, .end = bytes + length};
    return 0;
}

static int bad_count(uint32_t count, struct error *error)
{
    if (count > 0 && count <= BLOCK_SAMPLES_MAX) {
        return 0;
    }
    return error_set(error, ERROR_FORMAT, "block of %u samples", (unsigned)count);
}

int codec_decode_decimals(struct codec *codec, enum codec_kind kind, const uint8_t *bytes,
                          size_t length, uint32_t count, struct decimal *decimals,
                          struct error *error)
{
    if (bad_count(count, error) != 0) {
        return -1;
    }
    struct codec_cursor cursor = {.bad = true};
    if (kind == CODEC_DECIMAL || kind == CODEC_DECIMAL_ZSTD) {
        cursor.bad = open_varints(codec, kind == CODEC_DECIMAL_ZSTD, bytes, length, &cursor) != 0;
    }
    int64_t exponent = 0;
    for (uint32_t i = 0; i < count && !cursor.bad; i++) {
        int64_t step = (int64_t)codec_unzigzag(codec_get_varint(&cursor));
        if (step < -UINT16_MAX || step > UINT16_MAX) {
            cursor.bad = true;
            break;
        }
        exponent += step;
        cursor.bad = cursor.bad || exponent < INT16_MIN || exponent > INT16_MAX;
        decimals[i].exponent = (int16_t)exponent;
        decimals[i].mantissa = (int64_t)codec_unzigzag(codec_get_varint(&cursor));
    }
    if (cursor.bad || cursor.at != cursor.end) {
        return error_set(error, ERROR_FORMAT, "damaged block of decimals");
    }
    return 0;
}

void codec_encode_times(struct codec *codec, const int64_t *times_ns, uint32_t count,
                        struct codec_bytes *out)
{
    size_t length = 0;
    uint64_t step = 0;
    for (uint32_t i = 1; i < count; i++) {
        uint64_t next = (uint64_t)times_ns[i] - (uint64_t)times_ns[i - 1];
        length += codec_put_varint(codec->plain + length, codec_zigzag(next - step));
        step = next;
    }
    size_t packed = codec_zstd(codec, codec->times + 1, length, codec->plain, length);
    codec->times[0] = TIMES_ZSTD;
    if (packed == 0 || packed >= length) {
        codec->times[0] = TIMES_PLAIN;
        memcpy(codec->times + 1, codec->plain, length);
        packed = length;
    }
    *out = (struct codec_bytes){.bytes = codec->times, .length = packed + 1};
}

int codec_decode_times(struct codec *codec, const uint8_t *bytes, size_t length, int64_t t0_ns,
                       uint32_t count, int64_t *times_ns, struct error *error)
{
    if (bad_count(count, error) != 0) {
        return -1;
    }
    struct codec_cursor cursor = {.bad = true};
    if (length > 0 && bytes[0] <= TIMES_ZSTD) {
        cursor.bad =
            open_varints(codec, bytes[0] == TIMES_ZSTD, bytes + 1, length - 1, &cursor) != 0;
    }
    times_ns[0] = t0_ns;
    uint64_t step = 0;
    for (uint32_t i = 1; i < count && !cursor.bad; i++) {
        step += codec_unzigzag(codec_get_varint(&cursor));
        cursor.bad = cursor.bad || step == 0 || step > INT64_MAX ||
                     __builtin_add_overflow(times_ns[i - 1], (int64_t)step, &times_ns[i]);
    }
    if (cursor.bad || cursor.at != cursor.end) {
        return error_set(error, ERROR_FORMAT, "damaged block of times");
    }
    return 0;
}
