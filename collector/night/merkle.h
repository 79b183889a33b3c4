/* The hash tree of RFC 6962 sec. 2.1 over SHA-256, grown leaf by leaf in memory that does not grow.
 * Must never do I/O nor know what a leaf means. Used by the seal's files. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_MERKLE_H
#define ROOMWAKE_COLLECTOR_NIGHT_MERKLE_H

#include <sodium.h>
#include <stddef.h>
#include <stdint.h>

#define MERKLE_HASH_SIZE crypto_hash_sha256_BYTES
#define MERKLE_HEIGHT_MAX 64

/* Start from {0}. */
struct merkle {
    uint64_t leaves;
    /* peaks[h] is the root of a full tree of 2^h leaves where bit h of `leaves` is set. */
    uint8_t peaks[MERKLE_HEIGHT_MAX][MERKLE_HASH_SIZE];
};

/* A leaf that comes in pieces: begin, crypto_hash_sha256_update of `hash` for each, add. */
struct merkle_leaf {
    crypto_hash_sha256_state hash;
};
void merkle_leaf_begin(struct merkle_leaf *leaf);
void merkle_leaf_end(struct merkle_leaf *leaf, uint8_t hash[MERKLE_HASH_SIZE]);

void merkle_add(struct merkle *tree, const uint8_t leaf_hash[MERKLE_HASH_SIZE]);
/* Of all leaves so far; more may be added after. */
void merkle_root(const struct merkle *tree, uint8_t root[MERKLE_HASH_SIZE]);

#endif
