/* What the codec's files share: scratch memory, varints, zstd.
 * Must never be included outside codec*.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_CODEC_INTERNAL_H
#define ROOMWAKE_COLLECTOR_NIGHT_CODEC_INTERNAL_H

#include <stdbool.h>
#include <zstd.h>

#include "collector/night/codec.h"

#define VARINT_MAX 10u
/* The longest plain form: a decimal's mantissa (10 bytes) and exponent step (3). */
#define CODEC_SCRATCH_SIZE (BLOCK_SAMPLES_MAX * (VARINT_MAX + 3u) + 64u)

struct codec {
    ZSTD_CCtx *compress;
    ZSTD_DCtx *decompress;
    uint32_t *residuals; /* BLOCK_SAMPLES_MAX */
    float *reals;        /* BLOCK_SAMPLES_MAX + CODEC_LPC_SCRATCH */
    int16_t *narrow;     /* the same */
    uint8_t *plain;      /* CODEC_SCRATCH_SIZE each */
    uint8_t *packed;
    uint8_t *samples;
    uint8_t *times;
    uint8_t *cuts;
};

/* A bounded cursor; `bad` once something did not fit or was not there. */
struct codec_cursor {
    const uint8_t *at;
    const uint8_t *end;
    bool bad;
};

size_t codec_put_varint(uint8_t *at, uint64_t value);
uint64_t codec_get_varint(struct codec_cursor *cursor);

uint64_t codec_zigzag(uint64_t value);
uint64_t codec_unzigzag(uint64_t value);

/* zstd at level 1; 0 where it failed or is not below `limit`. */
size_t codec_zstd(struct codec *codec, uint8_t *out, size_t limit, const uint8_t *bytes,
                  size_t length);

/* Rice bits of the residuals into `out` (8 bytes a residual and 64 must fit); returns the length.
 */
size_t codec_rice_encode(const uint32_t *residuals, uint32_t count, uint8_t *out);
int codec_rice_decode(struct codec_cursor cursor, uint32_t count, uint32_t *residuals);

#define CODEC_LPC_ORDER_MAX 32u
#define CODEC_LPC_SCRATCH 64u
#define CODEC_LPC_NARROW 0x80u

/* guess = mean + (sum of taps[j] * (count before by j + 1 - mean) >> shift) */
struct codec_lpc {
    unsigned order; /* 1 to CODEC_LPC_ORDER_MAX */
    unsigned shift;
    int32_t mean;
    bool narrow; /* all counts within 16 bits of the mean, and the taps small enough */
    int16_t taps[CODEC_LPC_ORDER_MAX];
};

/* False where no taps are of use. `scratch` as codec->reals. */
bool codec_lpc_fit(float *scratch, const int32_t *counts, uint32_t count, int32_t mean,
                   struct codec_lpc *lpc);
/* Zigzag residuals and back; `scratch` as codec->narrow. */
void codec_lpc_residuals(const struct codec_lpc *lpc, int16_t *scratch, const int32_t *counts,
                         uint32_t count, uint32_t *residuals);
void codec_lpc_restore(const struct codec_lpc *lpc, int16_t *scratch, const uint32_t *residuals,
                       uint32_t count, int32_t *counts);
/* The prediction itself as bytes, CODEC_LPC_SIZE_MAX at most, and back. */
#define CODEC_LPC_SIZE_MAX (7u + 3u * CODEC_LPC_ORDER_MAX)
size_t codec_lpc_write(const struct codec_lpc *lpc, uint8_t *out);
int codec_lpc_read(struct codec_cursor *cursor, struct codec_lpc *lpc);

#endif
