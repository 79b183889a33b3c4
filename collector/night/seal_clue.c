/* Which row of a span of rows was changed.
 * Must never be what proves that a table holds. Called by the seal's files. */
#include "collector/night/seal_clue.h"

#include <string.h>

#include "common/bytes.h"

int64_t seal_clue_span(unsigned bits, int64_t key)
{
    return key >> bits;
}

void seal_clue_begin(struct seal_clue *clue, unsigned bits, int64_t span)
{
    *clue = (struct seal_clue){.span = span, .bits = bits};
}

void seal_clue_add(struct seal_clue *clue, int64_t key, const uint8_t hash[MERKLE_HASH_SIZE])
{
    struct bytes_reader reader = bytes_reader_of(hash, MERKLE_HASH_SIZE);
    uint64_t word = bytes_read_u64(&reader);
    clue->words[0] ^= word;
    for (unsigned bit = 0; bit < clue->bits; bit++) {
        clue->words[1 + bit] ^= (key >> bit & 1) != 0 ? word : 0;
    }
    clue->leaves++;
}

size_t seal_clue_size(unsigned bits)
{
    return (1 + (size_t)bits) * sizeof(uint64_t);
}

void seal_clue_write(const struct seal_clue *clue, uint8_t bytes[SEAL_CLUE_BYTES_MAX])
{
    struct bytes_writer writer = bytes_writer_of(bytes, SEAL_CLUE_BYTES_MAX);
    for (unsigned i = 0; i <= clue->bits; i++) {
        bytes_write_u64(&writer, clue->words[i]);
    }
}

int seal_clue_read(struct seal_clue *clue, const uint8_t *bytes, size_t length)
{
    if (length != seal_clue_size(clue->bits)) {
        return -1;
    }
    struct bytes_reader reader = bytes_reader_of(bytes, length);
    for (unsigned i = 0; i <= clue->bits; i++) {
        clue->words[i] = bytes_read_u64(&reader);
    }
    return 0;
}

bool seal_clue_same(const struct seal_clue *a, const struct seal_clue *b)
{
    return a->leaves == b->leaves && memcmp(a->words, b->words, seal_clue_size(a->bits)) == 0;
}

bool seal_clue_locate(const struct seal_clue *a, const struct seal_clue *b, int64_t *key)
{
    const uint64_t all = a->words[0] ^ b->words[0];
    uint64_t place = 0;
    for (unsigned bit = 0; bit < a->bits; bit++) {
        uint64_t some = a->words[1 + bit] ^ b->words[1 + bit];
        if (some != 0 && some != all) {
            return false;
        }
        place |= (uint64_t)(some != 0) << bit;
    }
    *key = (int64_t)((uint64_t)a->span << a->bits | place);
    return all != 0;
}
