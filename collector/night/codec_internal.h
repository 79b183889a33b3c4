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
    uint8_t *plain;      /* CODEC_SCRATCH_SIZE each */
    uint8_t *packed;
    uint8_t *samples;
    uint8_t *times;
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

#endif
