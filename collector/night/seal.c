/* What a seal says and what is signed of it.
 * Must never leave a word of a seal unsigned. Called by seal_write.c and by those that check. */
#include "collector/night/seal.h"

#include <stdio.h>

#include "collector/night/seal_leaf.h"
#include "collector/night/seal_tree.h"

const char *seal_what_text(enum seal_what what)
{
    static const char *const texts[SEAL_WHAT_COUNT] = {
        [SEAL_SO_FAR] = "so far",
        [SEAL_SAMPLES] = "samples",
        [SEAL_ADDED] = "added",
        [SEAL_ANALYSIS] = "analysis",
    };
    return texts[what];
}

unsigned seal_scopes(enum seal_what what)
{
    switch (what) {
    case SEAL_SO_FAR:
        return SEAL_GROWING;
    case SEAL_SAMPLES:
    case SEAL_ADDED:
        return SEAL_GROWING | SEAL_CLOSING;
    default:
        return SEAL_FINDINGS;
    }
}

void seal_hash_tree(const char *name, int64_t leaves, const uint8_t root[MERKLE_HASH_SIZE],
                    uint8_t hash[MERKLE_HASH_SIZE])
{
    struct seal_leaf leaf;
    seal_leaf_begin(&leaf, "seal_tree", 3);
    seal_leaf_text(&leaf, name);
    seal_leaf_int(&leaf, leaves);
    seal_leaf_blob(&leaf, root, MERKLE_HASH_SIZE);
    seal_leaf_end(&leaf, hash);
}

void seal_message(const struct seal *seal, uint8_t message[MERKLE_HASH_SIZE])
{
    struct seal_leaf leaf;
    seal_leaf_begin(&leaf, "roomwake seal 1", 6);
    seal_leaf_int(&leaf, seal->id);
    seal_leaf_text(&leaf, seal_what_text(seal->what));
    seal_leaf_int(&leaf, seal->analysis);
    seal_leaf_int(&leaf, seal->time_ns);
    seal_leaf_int(&leaf, seal->leaves);
    seal_leaf_blob(&leaf, seal->root, sizeof seal->root);
    seal_leaf_end(&leaf, message);
}

void seal_aloud(const uint8_t root[MERKLE_HASH_SIZE], char out[SEAL_ALOUD_SIZE])
{
    for (size_t i = 0; i < MERKLE_HASH_SIZE / 2; i++) {
        (void)snprintf(out + 5 * i, SEAL_ALOUD_SIZE - 5 * i, "%02x%02x ", root[2 * i],
                       root[2 * i + 1]);
    }
    out[SEAL_ALOUD_SIZE - 1] = '\0'; /* over the last space */
}
