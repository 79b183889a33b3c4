/* Any bytes as a blocks message: a frame that spells the same bytes again, or a clear error.
 * Must never be linked into a product; libFuzzer calls it. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "common/bytes.h"
#include "common/crc.h"
#include "common/wire.h"

#define AT_CHECKSUM 4
#define AFTER_CHECKSUM 8

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static void mend_checksum(uint8_t *bytes, size_t size)
{
    uint32_t crc = crc32c_update(0, bytes, AT_CHECKSUM);
    crc = crc32c_update(crc, bytes + AFTER_CHECKSUM, size - AFTER_CHECKSUM);
    struct bytes_writer writer = bytes_writer_of(bytes + AT_CHECKSUM, 4);
    bytes_write_u32(&writer, crc);
}

/* Touches every sample, so that a sanitizer sees a pointer that leads nowhere. */
static void use_samples(const struct frame *frame)
{
    for (size_t i = 0; i < frame->block_count; i++) {
        const struct block *block = &frame->blocks[i];
        for (uint32_t k = 0; k < block->count; k++) {
            require(block->period_ps > 0 || k == 0 || block->times_ns[k] > block->times_ns[k - 1]);
            require(block->encoding != BLOCK_DECIMAL || block->decimals[k].exponent <= 400);
        }
    }
}

static void decode(const uint8_t *bytes, size_t size)
{
    struct wire_arena arena = {0};
    struct frame frame;
    struct error error = {0};
    if (wire_decode(bytes, size, &arena, &frame, &error) == 0) {
        use_samples(&frame);
        uint8_t *again = malloc(size);
        size_t length = 0;
        require(again && wire_encode(&frame, again, size, &length, &error) == 0);
        require(length == size && memcmp(again, bytes, size) == 0);
        struct clock_fit fit = {.known = true, .offset_ns = 1, .uncertainty_ns = 2};
        require(wire_restamp(again, size, frame.oldest_seq, &fit, &error) == 0);
        require(wire_decode(again, size, &arena, &frame, &error) == 0 && frame.fit.known);
        free(again);
    } else {
        require(error.code != ERROR_NONE && error.text[0] != '\0');
    }
    require(arena.counts_size <= WIRE_SAMPLES_MAX && arena.times_size <= WIRE_SAMPLES_MAX &&
            arena.decimals_size <= WIRE_SAMPLES_MAX);
    wire_arena_free(&arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    decode(data, size);
    if (size >= AFTER_CHECKSUM) {
        uint8_t *mended = malloc(size);
        require(mended != NULL);
        memcpy(mended, data, size);
        mend_checksum(mended, size);
        decode(mended, size);
        free(mended);
    }
    return 0;
}
