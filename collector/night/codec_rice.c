/* Rice coding: a residual's high part in unary, its low k bits as they are, k anew for every 256.
 * Must never read or write past its bounds. Called by codec_counts.c. */
#include "collector/night/codec_internal.h"

#define RUN 256u
#define PARAMETER_BITS 5u
#define PARAMETER_MAX 31u
/* From this unary length on the residual follows in 32 plain bits, so that a spike costs 7 bytes
 * and not thousands. */
#define ESCAPE 24u

struct bit_writer {
    uint8_t *at;
    uint64_t bits;
    unsigned held;
};

static void put_bits(struct bit_writer *writer, uint32_t value, unsigned width)
{
    writer->bits = writer->bits << width | value;
    writer->held += width;
    while (writer->held >= 8) {
        writer->held -= 8;
        *writer->at++ = (uint8_t)(writer->bits >> writer->held);
    }
}

static uint64_t cost(const uint32_t *residuals, uint32_t count, unsigned k)
{
    uint64_t bits = (uint64_t)count * (k + 1);
    for (uint32_t i = 0; i < count; i++) {
        uint32_t high = residuals[i] >> k;
        bits += high < ESCAPE ? high : ESCAPE + 32u - k - 1u;
    }
    return bits;
}

static unsigned best_parameter(const uint32_t *residuals, uint32_t count)
{
    uint64_t sum = 0;
    for (uint32_t i = 0; i < count; i++) {
        sum += residuals[i];
    }
    unsigned guess = 0;
    while (guess < PARAMETER_MAX && ((uint64_t)count << (guess + 1)) <= sum) {
        guess++;
    }
    /* The mean misleads where a spike is among them: then a smaller parameter is shorter. */
    unsigned best = guess;
    uint64_t least = cost(residuals, count, guess);
    for (unsigned k = guess; k-- > 0;) {
        uint64_t bits = cost(residuals, count, k);
        if (bits >= least) {
            break;
        }
        least = bits;
        best = k;
    }
    return best;
}

size_t codec_rice_encode(const uint32_t *residuals, uint32_t count, uint8_t *out)
{
    struct bit_writer writer = {.at = out};
    for (uint32_t start = 0; start < count; start += RUN) {
        uint32_t run = count - start < RUN ? count - start : RUN;
        unsigned k = best_parameter(residuals + start, run);
        put_bits(&writer, k, PARAMETER_BITS);
        for (uint32_t i = start; i < start + run; i++) {
            uint32_t high = residuals[i] >> k;
            if (high < ESCAPE) {
                put_bits(&writer, (uint32_t)((UINT64_C(1) << (high + 1)) - 2), high + 1);
                put_bits(&writer, residuals[i] & (uint32_t)((UINT64_C(1) << k) - 1), k);
            } else {
                put_bits(&writer, (1u << ESCAPE) - 1u, ESCAPE);
                put_bits(&writer, residuals[i], 32);
            }
        }
    }
    if (writer.held > 0) {
        put_bits(&writer, 0, 8 - writer.held);
    }
    return (size_t)(writer.at - out);
}

struct bit_reader {
    struct codec_cursor cursor;
    uint64_t bits; /* the next ones in the high end */
    unsigned held;
};

static void refill(struct bit_reader *reader)
{
    while (reader->held <= 56 && reader->cursor.at < reader->cursor.end) {
        reader->bits |= (uint64_t)*reader->cursor.at++ << (56 - reader->held);
        reader->held += 8;
    }
}

static uint32_t get_bits(struct bit_reader *reader, unsigned width)
{
    if (width == 0) {
        return 0;
    }
    if (reader->held < width) {
        refill(reader);
    }
    if (reader->held < width) {
        reader->cursor.bad = true;
        return 0;
    }
    uint32_t value = (uint32_t)(reader->bits >> (64 - width));
    reader->bits <<= width;
    reader->held -= width;
    return value;
}

static uint32_t get_residual(struct bit_reader *reader, unsigned k)
{
    if (reader->held < ESCAPE + 1) {
        refill(reader);
    }
    unsigned ones = ~reader->bits == 0 ? 64u : (unsigned)__builtin_clzll(~reader->bits);
    if (ones >= ESCAPE) {
        (void)get_bits(reader, ESCAPE);
        return get_bits(reader, 32);
    }
    (void)get_bits(reader, ones + 1);
    /* A high part that does not fit above k is no residual that the encoder wrote. */
    if (((uint64_t)ones << k) > UINT32_MAX) {
        reader->cursor.bad = true;
    }
    return (uint32_t)((uint64_t)ones << k) | get_bits(reader, k);
}

int codec_rice_decode(struct codec_cursor cursor, uint32_t count, uint32_t *residuals)
{
    struct bit_reader reader = {.cursor = cursor};
    unsigned k = 0;
    for (uint32_t i = 0; i < count && !reader.cursor.bad; i++) {
        if (i % RUN == 0) {
            k = get_bits(&reader, PARAMETER_BITS);
        }
        residuals[i] = get_residual(&reader, k);
    }
    bool left_over = reader.cursor.at < reader.cursor.end || reader.held >= 8;
    return reader.cursor.bad || left_over ? -1 : 0;
}
