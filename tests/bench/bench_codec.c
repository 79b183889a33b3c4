/* Ours against differences under zstd and against FLAC (RFC 9639) through libFLAC, on one signal:
 * noise of 4 counts with a random walk and hum of 50 Hz at 250 Hz, in blocks of several sizes;
 * bytes a sample, how many times the noise's entropy, and speed. Prints; judges nothing. Must never
 * be part of the product: libFLAC is used here only. */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <zstd.h>

#ifdef BENCH_WITH_FLAC
#include <FLAC/stream_encoder.h>
#endif

#include "collector/night/codec.h"

#define SAMPLES (1u << 21)
#define RATE 250
#define SIGMA 4.0
#define WALK 0.2
#define HUM 8.0

static double cpu_s(void)
{
    struct rusage usage;
    (void)getrusage(RUSAGE_SELF, &usage);
    return (double)usage.ru_utime.tv_sec + (double)usage.ru_utime.tv_usec * 1e-6;
}

static double uniform(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ((double)(*state >> 11) + 0.5) / 9007199254740992.0;
}

/* Box and Muller's */
static double normal(uint64_t *state)
{
    double radius = sqrt(-2 * log(uniform(state)));
    return radius * cos(2 * M_PI * uniform(state));
}

static void make_signal(int32_t *counts)
{
    uint64_t state = 1;
    double walk = 0;
    for (uint32_t i = 0; i < SAMPLES; i++) {
        walk += WALK * normal(&state);
        double hum = HUM * sin(2 * M_PI * 50.003 * i / RATE);
        counts[i] = (int32_t)lround(12000 + walk + hum + SIGMA * normal(&state));
    }
}

static void tell(const char *name, uint32_t block, uint64_t bytes, double seconds, double back)
{
    const double entropy = log2(SIGMA * sqrt(2 * M_PI * M_E)) / 8; /* bytes; Shannon 1948 */
    uint32_t samples = SAMPLES / block * block;
    printf("%-24s %6u %8.4f %8.3f %10.1f", name, block, (double)bytes / samples,
           (double)bytes / samples / entropy, samples / seconds * 1e-6);
    if (back > 0) {
        printf(" %10.1f", samples / back * 1e-6);
    }
    printf("\n");
}

static void ours(const int32_t *counts, uint32_t block)
{
    struct codec *codec = codec_new();
    int32_t *back = malloc(block * sizeof *back);
    uint8_t *kept = malloc(SAMPLES * 4);
    size_t *lengths = calloc(SAMPLES / block, sizeof *lengths);
    enum codec_kind *kinds = calloc(SAMPLES / block, sizeof *kinds);
    uint64_t bytes = 0;
    double begun = cpu_s();
    for (uint32_t i = 0; i < SAMPLES / block; i++) {
        struct codec_bytes out;
        codec_encode_counts(codec, counts + i * block, block, &out);
        memcpy(kept + bytes, out.bytes, out.length);
        lengths[i] = out.length;
        kinds[i] = out.kind;
        bytes += out.length;
    }
    double encoded = cpu_s();
    const uint8_t *at = kept;
    for (uint32_t i = 0; i < SAMPLES / block; i++) {
        struct error error;
        if (codec_decode_counts(codec, kinds[i], at, lengths[i], block, back, &error) != 0 ||
            memcmp(back, counts + i * block, block * sizeof *back) != 0) {
            printf("not lossless\n");
        }
        at += lengths[i];
    }
    tell("ours", block, bytes, encoded - begun, cpu_s() - encoded);
    free(back);
    free(kept);
    free(lengths);
    free(kinds);
    codec_free(codec);
}

/* Zigzag differences as 16 bits, lowest bytes first, under zstd at level 1. */
static void differences(const int32_t *counts, uint32_t block)
{
    ZSTD_CCtx *context = ZSTD_createCCtx();
    uint8_t *plain = malloc(2 * (size_t)block);
    size_t room = ZSTD_compressBound(2 * (size_t)block);
    uint8_t *packed = malloc(room);
    uint64_t bytes = 0;
    double begun = cpu_s();
    for (uint32_t start = 0; start + block <= SAMPLES; start += block) {
        int32_t before = 0;
        for (uint32_t i = 0; i < block; i++) {
            uint32_t change = (uint32_t)(counts[start + i] - before);
            uint32_t zigzag = change << 1 ^ (0 - (change >> 31));
            before = counts[start + i];
            plain[i] = (uint8_t)zigzag;
            plain[block + i] = (uint8_t)(zigzag >> 8);
        }
        bytes += ZSTD_compressCCtx(context, packed, room, plain, 2 * (size_t)block, 1);
    }
    tell("differences, zstd 1", block, bytes, cpu_s() - begun, 0);
    free(plain);
    free(packed);
    ZSTD_freeCCtx(context);
}

#ifdef BENCH_WITH_FLAC
static FLAC__StreamEncoderWriteStatus count_bytes(const FLAC__StreamEncoder *encoder,
                                                  const FLAC__byte buffer[], size_t bytes,
                                                  uint32_t samples, uint32_t frame, void *context)
{
    (void)encoder;
    (void)buffer;
    (void)samples;
    (void)frame;
    *(uint64_t *)context += bytes;
    return FLAC__STREAM_ENCODER_WRITE_STATUS_OK;
}

static void flac(const int32_t *counts, uint32_t block, uint32_t level)
{
    char name[32];
    uint64_t bytes = 0;
    FLAC__StreamEncoder *encoder = FLAC__stream_encoder_new();
    (void)FLAC__stream_encoder_set_channels(encoder, 1);
    (void)FLAC__stream_encoder_set_bits_per_sample(encoder, 16);
    (void)FLAC__stream_encoder_set_sample_rate(encoder, 8000);
    (void)FLAC__stream_encoder_set_streamable_subset(encoder, false);
    (void)FLAC__stream_encoder_set_compression_level(encoder, level);
    (void)FLAC__stream_encoder_set_blocksize(encoder, block);
    (void)FLAC__stream_encoder_init_stream(encoder, count_bytes, NULL, NULL, NULL, &bytes);
    double begun = cpu_s();
    (void)FLAC__stream_encoder_process_interleaved(encoder, counts, SAMPLES / block * block);
    (void)FLAC__stream_encoder_finish(encoder);
    (void)snprintf(name, sizeof name, "FLAC, level %u", level);
    tell(name, block, bytes, cpu_s() - begun, 0);
    FLAC__stream_encoder_delete(encoder);
}
#endif

int main(void)
{
    static const uint32_t blocks[] = {128, 256, 1024, 4096, 6400, 16384};
    int32_t *counts = malloc(SAMPLES * sizeof *counts);
    make_signal(counts);
    printf("%-24s %6s %8s %8s %10s %10s\n", "", "block", "bytes", "entropies", "M/s in", "M/s out");
    for (size_t i = 0; i < sizeof blocks / sizeof *blocks; i++) {
        ours(counts, blocks[i]);
        differences(counts, blocks[i]);
#ifdef BENCH_WITH_FLAC
        flac(counts, blocks[i], 5);
        flac(counts, blocks[i], 8);
#endif
    }
    free(counts);
    return 0;
}
