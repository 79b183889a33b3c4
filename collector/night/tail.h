/* The blocks of one message as bytes that are quick to make: how a message is kept until enough of
 * its node's have come for long blocks. Must never trust the bytes. Called by writer and reader. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_TAIL_H
#define ROOMWAKE_COLLECTOR_NIGHT_TAIL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/night/codec.h"

/* Each node boot's messages have keys of their own, in the order in which they came. */
#define TAIL_KEYS_BITS 32
static inline int64_t tail_key(int64_t boot, int64_t place)
{
    return boot << TAIL_KEYS_BITS | place;
}

/* Bytes of any blocks that make up one message; start from {0}. */
struct tail_bytes {
    uint8_t *bytes;
    size_t length;
    size_t size;
};
int tail_encode(struct codec *codec, const struct block *blocks, const int64_t *node_t0_ns,
                size_t count, struct tail_bytes *out, struct error *error);
void tail_bytes_free(struct tail_bytes *bytes);

/* Reads block by block. */
struct tail_reader {
    const uint8_t *at;
    const uint8_t *end;
};

/* Room for one block's samples of every kind; start from {0}. */
struct tail_memory {
    int32_t *counts;
    int64_t *times_ns;
    struct decimal *decimals;
    size_t counts_size;
    size_t times_size;
    size_t decimals_size;
};
void tail_memory_free(struct tail_memory *memory);
/* Room for `count` samples of an encoding, and for their times where `times`. */
int tail_memory_room(struct tail_memory *memory, enum block_encoding encoding, bool times,
                     uint32_t count, struct error *error);

/* 1: a block, its samples in `memory`; 0: no more; -1: damaged or no memory. */
int tail_next(struct codec *codec, struct tail_reader *reader, struct tail_memory *memory,
              struct block *block, int64_t *node_t0_ns, struct error *error);

#endif
