/* Counts as compact bytes and back: residuals, then the shortest of three forms.
 * Must never trust the bytes it decodes. Called by the night's writer and reader. */
#include "collector/night/codec_internal.h"

#include <stdlib.h>
#include <string.h>

#define ORDER_MAX 2u
/* Below this the head of a zstd frame alone outweighs what it could save. */
#define ZSTD_WORTH_BYTES 24u
#define ZSTD_LEVEL 1
/* Shorter blocks do not pay for the taps. */
#define LPC_WORTH_SAMPLES 256u

int codec_encoding(int64_t kind, enum block_encoding *encoding)
{
    switch (kind) {
    case CODEC_RAW:
    case CODEC_RICE:
    case CODEC_PLANES:
    case CODEC_LPC_RICE:
    case CODEC_LPC_PLANES:
        *encoding = BLOCK_INT32;
        return 0;
    case CODEC_DECIMAL:
    case CODEC_DECIMAL_ZSTD:
        *encoding = BLOCK_DECIMAL;
        return 0;
    default:
        return -1;
    }
}

struct codec *codec_new(void)
{
    struct codec *codec = calloc(1, sizeof *codec);
    if (!codec) {
        return NULL;
    }
    codec->compress = ZSTD_createCCtx();
    codec->decompress = ZSTD_createDCtx();
    codec->residuals = malloc(BLOCK_SAMPLES_MAX * sizeof *codec->residuals);
    codec->reals = malloc((BLOCK_SAMPLES_MAX + CODEC_LPC_SCRATCH) * sizeof *codec->reals);
    codec->narrow = malloc((BLOCK_SAMPLES_MAX + CODEC_LPC_SCRATCH) * sizeof *codec->narrow);
    codec->plain = malloc(CODEC_SCRATCH_SIZE);
    codec->packed = malloc(CODEC_SCRATCH_SIZE);
    codec->samples = malloc(CODEC_SCRATCH_SIZE);
    codec->times = malloc(CODEC_SCRATCH_SIZE);
    codec->cuts = malloc(CODEC_SCRATCH_SIZE);
    if (!codec->compress || !codec->decompress || !codec->residuals || !codec->reals ||
        !codec->narrow || !codec->plain || !codec->packed || !codec->samples || !codec->times ||
        !codec->cuts) {
        codec_free(codec);
        return NULL;
    }
    return codec;
}

void codec_free(struct codec *codec)
{
    if (!codec) {
        return;
    }
    ZSTD_freeCCtx(codec->compress);
    ZSTD_freeDCtx(codec->decompress);
    free(codec->residuals);
    free(codec->reals);
    free(codec->narrow);
    free(codec->plain);
    free(codec->packed);
    free(codec->samples);
    free(codec->times);
    free(codec->cuts);
    free(codec);
}

size_t codec_put_varint(uint8_t *at, uint64_t value)
{
    size_t length = 0;
    while (value >= 0x80) {
        at[length++] = (uint8_t)(value | 0x80);
        value >>= 7;
    }
    at[length++] = (uint8_t)value;
    return length;
}

uint64_t codec_get_varint(struct codec_cursor *cursor)
{
    uint64_t value = 0;
    for (unsigned shift = 0; shift < 64; shift += 7) {
        if (cursor->at == cursor->end) {
            break;
        }
        uint8_t byte = *cursor->at++;
        value |= (uint64_t)(byte & 0x7f) << shift;
        if (byte < 0x80) {
            return value;
        }
    }
    cursor->bad = true;
    return 0;
}

uint64_t codec_zigzag(uint64_t value)
{
    return value << 1 ^ (0 - (value >> 63));
}

uint64_t codec_unzigzag(uint64_t value)
{
    return value >> 1 ^ (0 - (value & 1));
}

static uint32_t zigzag32(uint32_t value)
{
    return value << 1 ^ (0 - (value >> 31));
}

static uint32_t unzigzag32(uint32_t value)
{
    return value >> 1 ^ (0 - (value & 1));
}

size_t codec_zstd(struct codec *codec, uint8_t *out, size_t limit, const uint8_t *bytes,
                  size_t length)
{
    size_t used = ZSTD_compressCCtx(codec->compress, out, limit, bytes, length, ZSTD_LEVEL);
    return ZSTD_isError(used) ? 0 : used;
}

/* Without the least and the greatest, so that a single spike does not pull it off all others. */
static int32_t mean_of(const int32_t *counts, uint32_t count)
{
    int64_t sum = 0;
    int32_t min = counts[0];
    int32_t max = counts[0];
    for (uint32_t i = 0; i < count; i++) {
        sum += counts[i];
        min = counts[i] < min ? counts[i] : min;
        max = counts[i] > max ? counts[i] : max;
    }
    if (count > 2) {
        sum -= (int64_t)min + max;
        count -= 2;
    }
    return (int32_t)(sum / (int64_t)count);
}

/* The order whose residuals have the least sum: a good guide to the shortest bits. */
static unsigned best_order(const int32_t *counts, uint32_t count, int32_t mean, uint64_t *sum)
{
    uint64_t sums[ORDER_MAX + 1] = {0};
    for (uint32_t i = 2; i < count; i++) {
        uint32_t a = (uint32_t)counts[i];
        uint32_t b = (uint32_t)counts[i - 1];
        uint32_t c = (uint32_t)counts[i - 2];
        sums[0] += zigzag32(a - (uint32_t)mean);
        sums[1] += zigzag32(a - b);
        sums[2] += zigzag32(a - 2 * b + c);
    }
    unsigned best = 0;
    for (unsigned order = 1; order <= ORDER_MAX; order++) {
        if (sums[order] < sums[best]) {
            best = order;
        }
    }
    *sum = sums[best];
    return best;
}

static void make_residuals(const int32_t *counts, uint32_t count, unsigned order, int32_t mean,
                           uint32_t *residuals)
{
    for (uint32_t i = order; i < count; i++) {
        uint32_t value = (uint32_t)counts[i];
        uint32_t guess = (uint32_t)mean;
        if (order == 1) {
            guess = (uint32_t)counts[i - 1];
        } else if (order == 2) {
            guess = 2 * (uint32_t)counts[i - 1] - (uint32_t)counts[i - 2];
        }
        residuals[i - order] = zigzag32(value - guess);
    }
}

/* As many byte planes as the largest residual needs, the lowest first. */
static size_t make_planes(const uint32_t *residuals, uint32_t count, uint8_t *out)
{
    uint32_t all = 0;
    for (uint32_t i = 0; i < count; i++) {
        all |= residuals[i];
    }
    size_t length = 0;
    for (unsigned shift = 0; shift < 32 && (shift == 0 || all >> shift != 0); shift += 8) {
        for (uint32_t i = 0; i < count; i++) {
            out[length++] = (uint8_t)(residuals[i] >> shift);
        }
    }
    return length;
}

static void encode_raw(const int32_t *counts, uint32_t count, uint8_t *out)
{
    for (uint32_t i = 0; i < count; i++) {
        uint32_t value = (uint32_t)counts[i];
        for (unsigned byte = 0; byte < 4; byte++) {
            out[4 * i + byte] = (uint8_t)(value >> 8 * byte);
        }
    }
}

/* Linear prediction, where it is worth its taps: its residuals are left in codec->residuals, and
 * the length of its head is returned; 0 where it is not. `sum` is that of the best plain order. */
static size_t try_lpc(struct codec *codec, const int32_t *counts, uint32_t count, int32_t mean,
                      uint64_t sum)
{
    struct codec_lpc lpc;
    if (count < LPC_WORTH_SAMPLES || sum < count / 2 ||
        !codec_lpc_fit(codec->reals, counts, count, mean, &lpc)) {
        return 0;
    }
    codec_lpc_residuals(&lpc, codec->narrow, counts, count, codec->residuals);
    uint64_t predicted = 0;
    for (uint32_t i = 0; i < count; i++) {
        predicted += codec->residuals[i];
    }
    return predicted < sum ? codec_lpc_write(&lpc, codec->samples) : 0;
}

static size_t plain_head(const int32_t *counts, unsigned order, int32_t mean, uint8_t *bytes)
{
    size_t head = 0;
    bytes[head++] = (uint8_t)order;
    if (order == 0) {
        head += codec_put_varint(bytes + head, zigzag32((uint32_t)mean));
    }
    for (unsigned i = 0; i < order; i++) {
        head += codec_put_varint(bytes + head, zigzag32((uint32_t)counts[i]));
    }
    return head;
}

void codec_encode_counts(struct codec *codec, const int32_t *counts, uint32_t count,
                         struct codec_bytes *out)
{
    int32_t mean = count > 0 ? mean_of(counts, count) : 0;
    uint64_t sum = 0;
    unsigned order = count > ORDER_MAX ? best_order(counts, count, mean, &sum) : 0;
    size_t head = try_lpc(codec, counts, count, mean, sum);
    bool lpc = head > 0;
    uint32_t left = count;
    if (!lpc) {
        left = count - order;
        make_residuals(counts, count, order, mean, codec->residuals);
        head = plain_head(counts, order, mean, codec->samples);
    }
    uint8_t *bytes = codec->samples;
    size_t rice = codec_rice_encode(codec->residuals, left, bytes + head);
    *out = (struct codec_bytes){
        .kind = lpc ? CODEC_LPC_RICE : CODEC_RICE, .bytes = bytes, .length = head + rice};
    if (rice > ZSTD_WORTH_BYTES) {
        size_t plain = make_planes(codec->residuals, left, codec->plain);
        size_t packed = codec_zstd(codec, codec->packed, rice, codec->plain, plain);
        if (packed > 0 && packed < rice) {
            memcpy(bytes + head, codec->packed, packed);
            out->kind = lpc ? CODEC_LPC_PLANES : CODEC_PLANES;
            out->length = head + packed;
        }
    }
    if (out->length >= (size_t)count * 4) {
        encode_raw(counts, count, bytes);
        out->kind = CODEC_RAW;
        out->length = (size_t)count * 4;
    }
}

static int decode_raw(const uint8_t *bytes, size_t length, uint32_t count, int32_t *counts)
{
    if (length != (size_t)count * 4) {
        return -1;
    }
    for (uint32_t i = 0; i < count; i++) {
        uint32_t value = 0;
        for (unsigned byte = 0; byte < 4; byte++) {
            value |= (uint32_t)bytes[4 * i + byte] << 8 * byte;
        }
        counts[i] = (int32_t)value;
    }
    return 0;
}

static int decode_planes(struct codec *codec, struct codec_cursor cursor, uint32_t count)
{
    size_t length = ZSTD_decompressDCtx(codec->decompress, codec->plain, (size_t)count * 4,
                                        cursor.at, (size_t)(cursor.end - cursor.at));
    if (ZSTD_isError(length) || count == 0 || length % count != 0) {
        return -1;
    }
    memset(codec->residuals, 0, count * sizeof *codec->residuals);
    for (size_t plane = 0; plane < length / count; plane++) {
        for (uint32_t i = 0; i < count; i++) {
            codec->residuals[i] |= (uint32_t)codec->plain[plane * count + i] << 8 * plane;
        }
    }
    return 0;
}

static void undo_residuals(const uint32_t *residuals, uint32_t count, unsigned order,
                           int32_t *counts)
{
    uint32_t mean = order == 0 && count > 0 ? (uint32_t)counts[0] : 0;
    for (uint32_t i = order; i < count; i++) {
        uint32_t guess = mean;
        if (order == 1) {
            guess = (uint32_t)counts[i - 1];
        } else if (order == 2) {
            guess = 2 * (uint32_t)counts[i - 1] - (uint32_t)counts[i - 2];
        }
        counts[i] = (int32_t)(guess + unzigzag32(residuals[i - order]));
    }
}

/* -1: damaged. */
static int decode_residuals(struct codec *codec, enum codec_kind kind, struct codec_cursor cursor,
                            uint32_t count)
{
    if (cursor.bad) {
        return -1;
    }
    return kind == CODEC_RICE || kind == CODEC_LPC_RICE
               ? codec_rice_decode(cursor, count, codec->residuals)
               : decode_planes(codec, cursor, count);
}

static int decode_plain(struct codec *codec, enum codec_kind kind, struct codec_cursor cursor,
                        uint32_t count, int32_t *counts)
{
    unsigned order = cursor.at < cursor.end ? *cursor.at++ : ORDER_MAX + 1;
    if (order > ORDER_MAX || order >= count) {
        return -1;
    }
    for (unsigned i = 0; i < (order == 0 ? 1 : order); i++) {
        uint64_t seed = codec_get_varint(&cursor);
        cursor.bad = cursor.bad || seed > UINT32_MAX;
        counts[i] = (int32_t)unzigzag32((uint32_t)seed);
    }
    if (decode_residuals(codec, kind, cursor, count - order) != 0) {
        return -1;
    }
    undo_residuals(codec->residuals, count, order, counts);
    return 0;
}

static int decode_lpc(struct codec *codec, enum codec_kind kind, struct codec_cursor cursor,
                      uint32_t count, int32_t *counts)
{
    struct codec_lpc lpc;
    if (codec_lpc_read(&cursor, &lpc) != 0 || decode_residuals(codec, kind, cursor, count) != 0) {
        return -1;
    }
    codec_lpc_restore(&lpc, codec->narrow, codec->residuals, count, counts);
    return 0;
}

int codec_decode_counts(struct codec *codec, enum codec_kind kind, const uint8_t *bytes,
                        size_t length, uint32_t count, int32_t *counts, struct error *error)
{
    if (count == 0 || count > BLOCK_SAMPLES_MAX) {
        return error_set(error, ERROR_FORMAT, "block of %u samples", (unsigned)count);
    }
    const struct codec_cursor cursor = {.at = bytes, .end = bytes + length};
    int result = -1;
    switch (kind) {
    case CODEC_RAW:
        result = decode_raw(bytes, length, count, counts);
        break;
    case CODEC_RICE:
    case CODEC_PLANES:
        result = decode_plain(codec, kind, cursor, count, counts);
        break;
    case CODEC_LPC_RICE:
    case CODEC_LPC_PLANES:
        result = decode_lpc(codec, kind, cursor, count, counts);
        break;
    case CODEC_DECIMAL:
    case CODEC_DECIMAL_ZSTD:
        break;
    }
    return result == 0 ? 0 : error_set(error, ERROR_FORMAT, "damaged block of counts");
}
