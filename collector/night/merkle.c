/* The hash tree of RFC 6962 sec. 2.1 over SHA-256, grown leaf by leaf.
 * Must never do I/O. Called by the seal's files. */
#include "collector/night/merkle.h"

#include <string.h>

/* So that a leaf can't be taken for a node, nor a node for a leaf. */
static const uint8_t leaf_mark = 0x00;
static const uint8_t node_mark = 0x01;

void merkle_leaf_begin(struct merkle_leaf *leaf)
{
    (void)crypto_hash_sha256_init(&leaf->hash);
    (void)crypto_hash_sha256_update(&leaf->hash, &leaf_mark, 1);
}

void merkle_leaf_end(struct merkle_leaf *leaf, uint8_t hash[MERKLE_HASH_SIZE])
{
    (void)crypto_hash_sha256_final(&leaf->hash, hash);
}

/* `right` may be `out`. */
static void join(const uint8_t left[MERKLE_HASH_SIZE], const uint8_t right[MERKLE_HASH_SIZE],
                 uint8_t out[MERKLE_HASH_SIZE])
{
    uint8_t node[1 + 2 * MERKLE_HASH_SIZE];
    node[0] = node_mark;
    memcpy(node + 1, left, MERKLE_HASH_SIZE);
    memcpy(node + 1 + MERKLE_HASH_SIZE, right, MERKLE_HASH_SIZE);
    (void)crypto_hash_sha256(out, node, sizeof node);
}

void merkle_add(struct merkle *tree, const uint8_t leaf_hash[MERKLE_HASH_SIZE])
{
    uint8_t grown[MERKLE_HASH_SIZE];
    unsigned height = 0;
    memcpy(grown, leaf_hash, sizeof grown);
    for (; (tree->leaves >> height & 1) != 0; height++) {
        join(tree->peaks[height], grown, grown);
    }
    memcpy(tree->peaks[height], grown, sizeof grown);
    tree->leaves++;
}

void merkle_root(const struct merkle *tree, uint8_t root[MERKLE_HASH_SIZE])
{
    if (tree->leaves == 0) {
        (void)crypto_hash_sha256(root, NULL, 0);
        return;
    }
    unsigned height = (unsigned)__builtin_ctzll(tree->leaves);
    memcpy(root, tree->peaks[height], MERKLE_HASH_SIZE);
    while (++height < MERKLE_HEIGHT_MAX) {
        if ((tree->leaves >> height & 1) != 0) {
            join(tree->peaks[height], root, root);
        }
    }
}
