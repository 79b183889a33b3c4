/* The stream of a seed, and the shuffle over it.
 * Must never take a biased remainder. Called by the ask and answers commands. */
#include "collector/questions/draw.h"

#include <sodium.h>
#include <string.h>

#define BIND_TAG "roomwake questions 1"
#define STREAM_WORDS 4096u

_Static_assert(randombytes_SEEDBYTES == DRAW_SEED_SIZE, "one seed");
_Static_assert(STREAM_WORDS >= 4u * DRAW_WINDOWS_MAX, "room for refused words");

struct stream {
    uint32_t words[STREAM_WORDS];
    size_t used;
};

void draw_seed(uint8_t seed[DRAW_SEED_SIZE])
{
    randombytes_buf(seed, DRAW_SEED_SIZE);
}

void draw_hex(const uint8_t bytes[DRAW_SEED_SIZE], char hex[DRAW_HEX_SIZE])
{
    (void)sodium_bin2hex(hex, DRAW_HEX_SIZE, bytes, DRAW_SEED_SIZE);
}

int draw_from_hex(const char *hex, uint8_t bytes[DRAW_SEED_SIZE])
{
    size_t length = 0;
    const char *end = NULL;
    return sodium_hex2bin(bytes, DRAW_SEED_SIZE, hex, strlen(hex), NULL, &length, &end) == 0 &&
                   length == DRAW_SEED_SIZE && *end == '\0'
               ? 0
               : -1;
}

void draw_bind(const uint8_t seed[DRAW_SEED_SIZE], const char *plan_text, size_t length,
               uint8_t bound[DRAW_SEED_SIZE])
{
    crypto_hash_sha256_state hash;
    crypto_hash_sha256_init(&hash);
    crypto_hash_sha256_update(&hash, (const unsigned char *)BIND_TAG, sizeof BIND_TAG);
    crypto_hash_sha256_update(&hash, seed, DRAW_SEED_SIZE);
    crypto_hash_sha256_update(&hash, (const unsigned char *)plan_text, length);
    crypto_hash_sha256_final(&hash, bound);
}

/* Below `limit`, each as probable: what lies beyond the last whole multiple is drawn again. */
static uint32_t below(struct stream *stream, uint32_t limit)
{
    const uint32_t refuse_from = UINT32_MAX - UINT32_MAX % limit;
    uint32_t word = 0;
    do {
        word = stream->words[stream->used++ % STREAM_WORDS];
    } while (word >= refuse_from);
    return word % limit;
}

void draw_windows(const uint8_t seed[DRAW_SEED_SIZE], const struct question_plan *plan,
                  struct draw_window *windows)
{
    struct stream stream = {.used = 0};
    uint8_t bytes[4 * STREAM_WORDS];
    randombytes_buf_deterministic(bytes, sizeof bytes, seed);
    for (size_t i = 0; i < STREAM_WORDS; i++) {
        const uint8_t *at = bytes + 4 * i;
        stream.words[i] =
            (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
    }
    const size_t count = 2 * plan->question_count;
    for (size_t i = 0; i < count; i++) {
        windows[i] = (struct draw_window){.asked = i % 2 == 0, .question = i / 2};
    }
    for (size_t i = count - 1; i > 0; i--) {
        size_t j = below(&stream, (uint32_t)i + 1);
        struct draw_window kept = windows[i];
        windows[i] = windows[j];
        windows[j] = kept;
    }
    for (size_t i = 0; i < count; i++) {
        windows[i].rest_s = plan->rest_s * (1.0 + (double)below(&stream, 1000) / 1000.0);
    }
}
