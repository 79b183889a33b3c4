/* Samples and times as compact bytes and back, without loss.
 * Must never trust the bytes: decoding garbage ends in ERROR_FORMAT, within the memory of one
 * block. Called by the night's writer and reader.
 *
 * Counts: the residuals of order 0 (against the block's mean), 1 or 2 (differences, modulo 2^32),
 * or of a linear prediction from up to 32 samples before, zigzag; then whichever is shortest: raw,
 * Rice bits, or byte planes under zstd. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_CODEC_H
#define ROOMWAKE_COLLECTOR_NIGHT_CODEC_H

#include <stddef.h>
#include <stdint.h>

#include "common/block.h"
#include "common/error.h"

/* Stored in the night: a number is never given another meaning. */
enum codec_kind {
    CODEC_RAW = 0,          /* counts: int32, little-endian */
    CODEC_RICE = 1,         /* counts: order, seeds, Rice bits */
    CODEC_PLANES = 2,       /* counts: order, seeds, byte planes of the residuals under zstd */
    CODEC_LPC_RICE = 3,     /* counts: linear prediction's head, Rice bits of its residuals */
    CODEC_LPC_PLANES = 4,   /* the same head, byte planes under zstd */
    CODEC_DECIMAL = 16,     /* decimals: per sample exponent step and mantissa as varints */
    CODEC_DECIMAL_ZSTD = 17 /* the same under zstd */
};

/* What the samples of a kind are; -1 where this program does not know the kind. */
int codec_encoding(int64_t kind, enum block_encoding *encoding);

/* Scratch memory for blocks of up to BLOCK_SAMPLES_MAX. One thread at a time. */
struct codec;

struct codec *codec_new(void); /* NULL: out of memory */
void codec_free(struct codec *codec);

/* Encoded bytes; owned by the codec, valid until its next call of the same function. */
struct codec_bytes {
    enum codec_kind kind;
    const uint8_t *bytes;
    size_t length;
};

void codec_encode_counts(struct codec *codec, const int32_t *counts, uint32_t count,
                         struct codec_bytes *out);
void codec_encode_decimals(struct codec *codec, const struct decimal *decimals, uint32_t count,
                           struct codec_bytes *out);
/* Strictly rising times; the first is kept elsewhere (t0_ns). Bytes: 0 or 1 (zstd), then per
 * sample the change of the step as a varint. `kind` is not set. */
void codec_encode_times(struct codec *codec, const int64_t *times_ns, uint32_t count,
                        struct codec_bytes *out);

/* Each writes exactly `count` entries or fails. */
int codec_decode_counts(struct codec *codec, enum codec_kind kind, const uint8_t *bytes,
                        size_t length, uint32_t count, int32_t *counts, struct error *error);
int codec_decode_decimals(struct codec *codec, enum codec_kind kind, const uint8_t *bytes,
                          size_t length, uint32_t count, struct decimal *decimals,
                          struct error *error);
int codec_decode_times(struct codec *codec, const uint8_t *bytes, size_t length, int64_t t0_ns,
                       uint32_t count, int64_t *times_ns, struct error *error);

#endif
