/* The `blocks` message: little-endian, versioned, checksummed; raw integers delta-coded.
 * Any byte string decodes to a frame or to a clear error. Must never crash on one, nor take more
 * memory than the arena's cap. The bytes are drawn in DEVELOPERS.md, "The blocks message". */
#ifndef ROOMWAKE_COMMON_WIRE_H
#define ROOMWAKE_COMMON_WIRE_H

#include <stddef.h>
#include <stdint.h>

#include "common/block.h"
#include "common/clock_fit.h"
#include "common/error.h"

#define WIRE_VERSION 1
#define WIRE_MESSAGE_MAX (256u * 1024u)
#define WIRE_SAMPLES_MAX (4u * BLOCK_SAMPLES_MAX) /* over all blocks of one message */

/* A stretch without samples whose cause the node knows. Times of the last sample before and of the
 * first one after. */
#define FRAME_HOLES_MAX 8
#define HOLE_REASON_SIZE 80

struct hole {
    uint16_t channel;
    int64_t start_ns;
    int64_t end_ns;
    char reason[HOLE_REASON_SIZE]; /* plain ASCII */
};

/* What one message says. Times are node time. All samples before until_node_ns of all of the node's
 * channels are in this message or an earlier one. oldest_seq: the lowest seq of this boot that the
 * node still holds; all below are stored or given up. */
struct frame {
    uint64_t boot;
    uint64_t seq;
    uint64_t oldest_seq;
    int64_t until_node_ns;
    struct clock_fit fit; /* as known when the message left; known = false before the first */
    uint16_t block_count;
    struct block blocks[NODE_CHANNELS_MAX];
    uint16_t hole_count;
    struct hole holes[FRAME_HOLES_MAX];
};

/* Memory for decoded samples; grows to WIRE_SAMPLES_MAX and is used again by the next decode.
 * Start from {0}; the frame's pointers are valid until the next decode or wire_arena_free. */
struct wire_arena {
    int32_t *counts;
    int64_t *times_ns;
    struct decimal *decimals;
    size_t counts_size;
    size_t times_size;
    size_t decimals_size;
};

void wire_arena_free(struct wire_arena *arena);

/* Writes at most `size` bytes; *length is what was used. ERROR_FULL where it does not fit. */
int wire_encode(const struct frame *frame, uint8_t *bytes, size_t size, size_t *length,
                struct error *error);

/* ERROR_FORMAT, ERROR_VERSION, ERROR_CHECKSUM, ERROR_RANGE (over a cap) or ERROR_MEMORY. */
int wire_decode(const uint8_t *bytes, size_t length, struct wire_arena *arena, struct frame *frame,
                struct error *error);

/* Reads only the head (boot, seq) of a message that this program made: for the spool. */
int wire_peek(const uint8_t *bytes, size_t length, uint64_t *boot, uint64_t *seq,
              struct error *error);

/* Sets oldest_seq and, if the message has none yet, the fit; renews the checksum. */
int wire_restamp(uint8_t *bytes, size_t length, uint64_t oldest_seq, const struct clock_fit *fit,
                 struct error *error);

#endif
