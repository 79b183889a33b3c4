/* Which row of a span of rows was changed: a few words beside the hash tree, from which a single
 * changed, added or missing row is named without a hash kept for each.
 * Must never be what proves that a table holds: it is a hint. Used by the seal's files.
 *
 * A row's word is the first 64 bits of its leaf's hash; a clue is the XOR of the words of all rows
 * of the span, then for each bit of the key that of those rows whose key has it. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_SEAL_CLUE_H
#define ROOMWAKE_COLLECTOR_NIGHT_SEAL_CLUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/night/merkle.h"

#define SEAL_CLUE_BITS_MAX 11
#define SEAL_CLUE_BYTES_MAX ((1 + SEAL_CLUE_BITS_MAX) * sizeof(uint64_t))

struct seal_clue {
    int64_t span; /* the key without its lowest `bits` */
    unsigned bits;
    uint64_t leaves;
    uint64_t words[1 + SEAL_CLUE_BITS_MAX];
};

int64_t seal_clue_span(unsigned bits, int64_t key);
void seal_clue_begin(struct seal_clue *clue, unsigned bits, int64_t span);
void seal_clue_add(struct seal_clue *clue, int64_t key, const uint8_t hash[MERKLE_HASH_SIZE]);

size_t seal_clue_size(unsigned bits);
/* seal_clue_size octets, little-endian. */
void seal_clue_write(const struct seal_clue *clue, uint8_t bytes[SEAL_CLUE_BYTES_MAX]);
/* -1 where the length is another. */
int seal_clue_read(struct seal_clue *clue, const uint8_t *bytes, size_t length);

/* Whether both tell of the same rows. */
bool seal_clue_same(const struct seal_clue *a, const struct seal_clue *b);
/* The key in which they differ, where it is one only. */
bool seal_clue_locate(const struct seal_clue *a, const struct seal_clue *b, int64_t *key);

#endif
