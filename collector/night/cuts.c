/* Which messages the samples of a long block came in: each number as what it differs from what the
 * one before lets expect, then zstd. Must never trust the bytes. Called by writer and reader. */
#include "collector/night/cuts.h"

#include <string.h>

#include "collector/night/codec_internal.h"

__extension__ typedef __int128 wide;

#define NUMBERS 5u
#define PS_PER_NS 1000
#define PLAIN 0u
#define PACKED 1u

/* What the next cut is expected to be, modulo 2^64. */
struct expected {
    uint64_t seq;
    uint64_t count;
    uint64_t t0_ns;
    uint64_t period_ps;
    uint64_t node_t0_ns;
    uint64_t drift_ns; /* of the node's clock against the site's, over the cut before */
};

static void expect_first(struct expected *next, int64_t t0_ns)
{
    *next = (struct expected){.seq = 1, .t0_ns = (uint64_t)t0_ns};
}

static void expect_after(struct expected *next, const struct cut *cut, const struct cut *before)
{
    const uint64_t length_ns = (cut->count * (uint64_t)cut->period_ps + PS_PER_NS / 2) / PS_PER_NS;
    next->seq = cut->seq + 1;
    next->count = cut->count;
    next->t0_ns = (uint64_t)cut->t0_ns + length_ns;
    next->period_ps = (uint64_t)cut->period_ps;
    if (before) {
        next->drift_ns = ((uint64_t)cut->node_t0_ns - (uint64_t)before->node_t0_ns) -
                         ((uint64_t)cut->t0_ns - (uint64_t)before->t0_ns);
    }
    next->node_t0_ns = (uint64_t)cut->node_t0_ns - (uint64_t)cut->t0_ns + next->drift_ns;
}

void cuts_encode(struct codec *codec, const struct cut *cuts, size_t count, struct codec_bytes *out)
{
    struct expected next;
    size_t plain = 0;
    expect_first(&next, count > 0 ? cuts[0].t0_ns : 0);
    for (size_t i = 0; i < count; i++) {
        const struct cut *cut = &cuts[i];
        const uint64_t numbers[NUMBERS] = {
            cut->seq - next.seq, cut->count - next.count, (uint64_t)cut->t0_ns - next.t0_ns,
            (uint64_t)cut->period_ps - next.period_ps,
            (uint64_t)cut->node_t0_ns - (uint64_t)cut->t0_ns - next.node_t0_ns};
        for (size_t j = 0; j < NUMBERS; j++) {
            plain += codec_put_varint(codec->plain + plain, codec_zigzag(numbers[j]));
        }
        expect_after(&next, cut, i > 0 ? &cuts[i - 1] : NULL);
    }
    uint8_t *bytes = codec->cuts;
    size_t packed = codec_zstd(codec, bytes + 1, plain, codec->plain, plain);
    bytes[0] = packed > 0 && packed < plain ? PACKED : PLAIN;
    if (bytes[0] == PLAIN) {
        memcpy(bytes + 1, codec->plain, plain);
        packed = plain;
    }
    *out = (struct codec_bytes){.bytes = bytes, .length = 1 + packed};
}

static int unpack(struct codec *codec, const uint8_t *bytes, size_t length,
                  struct codec_cursor *cursor)
{
    if (length < 1 || bytes[0] > PACKED) {
        return -1;
    }
    *cursor = (struct codec_cursor){.at = bytes + 1, .end = bytes + length};
    if (bytes[0] == PACKED) {
        size_t plain = ZSTD_decompressDCtx(codec->decompress, codec->plain, CODEC_SCRATCH_SIZE,
                                           bytes + 1, length - 1);
        if (ZSTD_isError(plain)) {
            return -1;
        }
        *cursor = (struct codec_cursor){.at = codec->plain, .end = codec->plain + plain};
    }
    return 0;
}

static int get_cut(struct codec_cursor *cursor, const struct expected *next, struct cut *cut)
{
    uint64_t numbers[NUMBERS];
    for (size_t j = 0; j < NUMBERS; j++) {
        numbers[j] = codec_unzigzag(codec_get_varint(cursor));
    }
    uint64_t count = numbers[1] + next->count;
    *cut = (struct cut){.seq = numbers[0] + next->seq,
                        .count = (uint32_t)count,
                        .t0_ns = (int64_t)(numbers[2] + next->t0_ns),
                        .period_ps = (int64_t)(numbers[3] + next->period_ps)};
    cut->node_t0_ns = (int64_t)(numbers[4] + (uint64_t)cut->t0_ns + next->node_t0_ns);
    return cursor->bad || count == 0 || count > BLOCK_SAMPLES_MAX || cut->period_ps < 0 ||
                   cut->seq > INT64_MAX
               ? -1
               : 0;
}

static int damaged(struct error *error)
{
    return error_set(error, ERROR_FORMAT, "damaged list of a block's messages");
}

int cuts_count(struct codec *codec, const uint8_t *bytes, size_t length, size_t *count,
               struct error *error)
{
    struct codec_cursor cursor = {0};
    size_t numbers = 0;
    if (unpack(codec, bytes, length, &cursor) != 0) {
        return damaged(error);
    }
    for (const uint8_t *at = cursor.at; at < cursor.end; at++) {
        numbers += *at < 0x80; /* a varint's last byte */
    }
    if (numbers == 0 || numbers % NUMBERS != 0 || numbers / NUMBERS > CUTS_MAX) {
        return damaged(error);
    }
    *count = numbers / NUMBERS;
    return 0;
}

int cuts_decode(struct codec *codec, const uint8_t *bytes, size_t length, int64_t t0_ns,
                uint32_t samples, struct cut *cuts, size_t size, size_t *count, struct error *error)
{
    struct codec_cursor cursor = {0};
    struct expected next;
    uint64_t told = 0;
    size_t made = 0;
    bool good = unpack(codec, bytes, length, &cursor) == 0;
    expect_first(&next, t0_ns);
    while (good && cursor.at < cursor.end) {
        good = made < size && get_cut(&cursor, &next, &cuts[made]) == 0;
        if (good) {
            told += cuts[made].count;
            expect_after(&next, &cuts[made], made > 0 ? &cuts[made - 1] : NULL);
            made++;
        }
    }
    if (!good || made == 0 || told != samples || cuts[0].t0_ns != t0_ns) {
        return damaged(error);
    }
    *count = made;
    return 0;
}

int64_t cut_time_ns(const struct cut *cut, const int64_t *times_ns, uint32_t index)
{
    const struct block block = {.count = cut->count,
                                .t0_ns = cut->t0_ns,
                                .period_ps = cut->period_ps,
                                .times_ns = times_ns};
    return block_time_ns(&block, index);
}

int64_t cuts_even_ns(int64_t span_ns, uint32_t samples, uint32_t index)
{
    return samples < 2 ? 0 : (int64_t)((wide)span_ns * index / (samples - 1));
}

int64_t cuts_slack_ns(const struct cut *cuts, size_t count, uint32_t samples, int64_t span_ns)
{
    int64_t slack_ns = 0;
    uint32_t before = 0; /* samples of earlier cuts */
    for (size_t i = 0; i < count; i++) {
        /* Within a cut the times are even: what is farthest off is its first or its last. */
        const uint32_t ends[] = {0, cuts[i].count - 1};
        for (size_t j = 0; j < 2; j++) {
            int64_t off_ns = cut_time_ns(&cuts[i], NULL, ends[j]) - cuts[0].t0_ns -
                             cuts_even_ns(span_ns, samples, before + ends[j]);
            off_ns = off_ns < 0 ? -off_ns : off_ns;
            slack_ns = off_ns > slack_ns ? off_ns : slack_ns;
        }
        before += cuts[i].count;
    }
    return slack_ns + 2; /* rounding */
}
