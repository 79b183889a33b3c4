/* Linear prediction of counts: each is guessed from up to 32 before it, so that hum of the mains
 * and slow drift cost nothing. Integers only where it decides what is stored; a different guess of
 * the taps changes the length, never the samples. Must never read or write past its bounds.
 * Called by codec_counts.c. */
#include "collector/night/codec_internal.h"

#include <math.h>
#include <string.h>

#define ORDER_MAX CODEC_LPC_ORDER_MAX
#define LAGS (ORDER_MAX + 4u) /* a whole number of vectors */
#define CHUNK 256u            /* so many products are summed as float */
#define GROUP 8u
#define SHIFT_MAX 14u
#define SHIFT_MIN 4u
/* What coarse taps may add to the residual's variance. */
#define TAPS_EXCESS 0.004
#define BITS_A_TAP 9.0
/* With all counts within 16 bits of the mean a sum of products stays within 32 bits. */
#define NARROW_SUM_MAX 65535

/* Reversed, so that the lags of one sample stand side by side; tapered by Welch's window. */
static void taper(const int32_t *counts, uint32_t count, int32_t mean, float *reversed)
{
    const float middle = (float)(count - 1) / 2;
    const float scale = 1 / (middle + 1);
    for (uint32_t i = 0; i < count; i++) {
        float x = ((float)i - middle) * scale;
        int64_t value = (int64_t)counts[i] - mean;
        reversed[count - 1 - i] = (float)value * (1 - x * x);
    }
    memset(reversed + count, 0, LAGS * sizeof *reversed);
}

/* Four lags side by side: what compilers make of a plain loop over them is four times slower. */
typedef float lanes __attribute__((vector_size(4 * sizeof(float))));
#define LANES 4u

static void correlate_chunk(const float *reversed, uint32_t count, float sums[LAGS])
{
    lanes total[LAGS / LANES] = {0};
    for (uint32_t i = 0; i < count; i++) {
        const lanes here = {reversed[i], reversed[i], reversed[i], reversed[i]};
        for (uint32_t j = 0; j < LAGS / LANES; j++) {
            lanes before;
            memcpy(&before, reversed + i + (size_t)LANES * j, sizeof before);
            total[j] += here * before;
        }
    }
    memcpy(sums, total, sizeof total);
}

static void correlate(const float *reversed, uint32_t count, double lags[LAGS])
{
    for (uint32_t lag = 0; lag < LAGS; lag++) {
        lags[lag] = 0;
    }
    for (uint32_t start = 0; start < count; start += CHUNK) {
        float sums[LAGS];
        correlate_chunk(reversed + start, count - start < CHUNK ? count - start : CHUNK, sums);
        for (uint32_t lag = 0; lag < LAGS; lag++) {
            lags[lag] += (double)sums[lag];
        }
    }
}

/* Levinson and Durbin's recursion; keeps the taps of the order that makes the fewest bits. */
static unsigned solve(const double lags[LAGS], uint32_t count, double best[ORDER_MAX],
                      double *best_error)
{
    double taps[ORDER_MAX] = {0};
    double error = lags[0] * (1 + 1e-9);
    double least = INFINITY;
    unsigned order = 0;
    for (unsigned i = 0; i < ORDER_MAX && i + 1 < count; i++) {
        double sum = lags[i + 1];
        for (unsigned j = 0; j < i; j++) {
            sum -= taps[j] * lags[i - j];
        }
        double reflection = sum / error;
        taps[i] = reflection;
        for (unsigned j = 0; j < i / 2; j++) {
            double other = taps[i - 1 - j];
            taps[i - 1 - j] -= reflection * taps[j];
            taps[j] -= reflection * other;
        }
        if (i % 2 == 1) {
            taps[i / 2] -= reflection * taps[i / 2];
        }
        error *= 1 - reflection * reflection;
        if (!(error > 0)) {
            break;
        }
        double bits = count * 0.5 * log2(error) + (i + 1) * BITS_A_TAP;
        if (bits < least) {
            least = bits;
            order = i + 1;
            *best_error = error;
            memcpy(best, taps, sizeof taps);
        }
    }
    return order;
}

/* As many bits behind the point as the signal's strength over the residual's needs. */
static unsigned choose_shift(double power, double error, unsigned order)
{
    double needed = 0.5 * log2(order * power / (12 * TAPS_EXCESS * error));
    if (!(needed > SHIFT_MIN)) {
        return SHIFT_MIN;
    }
    return needed > SHIFT_MAX ? SHIFT_MAX : (unsigned)ceil(needed);
}

static bool round_taps(const double *taps, struct codec_lpc *lpc)
{
    double left = 0; /* what rounding took goes on to the next */
    for (unsigned i = 0; i < lpc->order; i++) {
        double wanted = ldexp(taps[i], (int)lpc->shift) + left;
        double rounded = round(wanted);
        if (fabs(rounded) > INT16_MAX) {
            return false;
        }
        lpc->taps[i] = (int16_t)rounded;
        left = wanted - rounded;
    }
    return true;
}

static bool taps_narrow(const struct codec_lpc *lpc)
{
    int32_t sum = 0;
    for (unsigned i = 0; i < ORDER_MAX; i++) {
        sum += lpc->taps[i] < 0 ? -lpc->taps[i] : lpc->taps[i];
    }
    return sum <= NARROW_SUM_MAX;
}

static bool counts_narrow(const int32_t *counts, uint32_t count, int32_t mean)
{
    for (uint32_t i = 0; i < count; i++) {
        int64_t value = (int64_t)counts[i] - mean;
        if (value < INT16_MIN || value > INT16_MAX) {
            return false;
        }
    }
    return true;
}

bool codec_lpc_fit(float *scratch, const int32_t *counts, uint32_t count, int32_t mean,
                   struct codec_lpc *lpc)
{
    double lags[LAGS];
    double taps[ORDER_MAX];
    double error = 0;
    *lpc = (struct codec_lpc){.mean = mean};
    taper(counts, count, mean, scratch);
    correlate(scratch, count, lags);
    if (!(lags[0] > 0)) {
        return false;
    }
    lpc->order = solve(lags, count, taps, &error);
    if (lpc->order == 0) {
        return false;
    }
    lpc->shift = choose_shift(lags[0], error, lpc->order);
    if (!round_taps(taps, lpc)) {
        return false;
    }
    lpc->narrow = taps_narrow(lpc) && counts_narrow(counts, count, mean);
    return true;
}

static uint32_t zigzag32(uint32_t value)
{
    return value << 1 ^ (0 - (value >> 31));
}

static uint32_t unzigzag32(uint32_t value)
{
    return value >> 1 ^ (0 - (value & 1));
}

/* The taps as group_taps has them, for what stands before the group. */
static inline int32_t guess_narrow(const int16_t *history, const int16_t *taps)
{
    int32_t sum = 0;
    for (unsigned j = 0; j < ORDER_MAX; j++) {
        sum += history[j] * taps[j];
    }
    return sum;
}

static inline int64_t guess_wide(const int32_t *counts, uint32_t i, const struct codec_lpc *lpc)
{
    int64_t sum = 0;
    for (unsigned j = 0; j < lpc->order; j++) {
        sum += ((int64_t)counts[i - 1 - j] - lpc->mean) * lpc->taps[j];
    }
    return sum >> lpc->shift;
}

/* The first ones have too few before them: each is guessed to be as its neighbour. */
static uint32_t warm_up(const struct codec_lpc *lpc, uint32_t count)
{
    return lpc->order < count ? lpc->order : count;
}

/* For each of GROUP samples that follow each other: the taps for the ORDER_MAX before the first. */
struct group_taps {
    int16_t taps[GROUP][ORDER_MAX];
};

static void spread_taps(const struct codec_lpc *lpc, struct group_taps *spread)
{
    for (unsigned k = 0; k < GROUP; k++) {
        for (unsigned j = 0; j < ORDER_MAX; j++) {
            spread->taps[k][j] = j >= k ? lpc->taps[ORDER_MAX - 1 + k - j] : (int16_t)0;
        }
    }
}

static void residuals_narrow(const struct codec_lpc *lpc, const int16_t *values, uint32_t from,
                             uint32_t count, uint32_t *residuals)
{
    struct group_taps spread;
    spread_taps(lpc, &spread);
    for (uint32_t i = from; i < count; i++) {
        int32_t guess = guess_narrow(values + i - ORDER_MAX, spread.taps[0]) >> lpc->shift;
        residuals[i] = zigzag32((uint32_t)(values[i] - guess));
    }
}

static int16_t restored(const struct codec_lpc *lpc, int32_t sum, uint32_t residual)
{
    return (int16_t)(uint16_t)((uint32_t)(sum >> lpc->shift) + unzigzag32(residual));
}

/* In groups: what their older neighbours tell of all of a group is summed at once, so that a sample
 * waits only for the few just before it. */
static void restore_narrow(const struct codec_lpc *lpc, const uint32_t *residuals, uint32_t from,
                           uint32_t count, int16_t *values)
{
    struct group_taps spread;
    spread_taps(lpc, &spread);
    uint32_t i = from;
    for (; i + GROUP <= count; i += GROUP) {
        int32_t sums[GROUP];
        for (unsigned k = 0; k < GROUP; k++) {
            sums[k] = guess_narrow(values + i - ORDER_MAX, spread.taps[k]);
        }
        int16_t made[GROUP];
#pragma GCC unroll 8
        for (unsigned k = 0; k < GROUP; k++) {
#pragma GCC unroll 8
            for (unsigned m = 0; m < k; m++) {
                sums[k] += made[m] * lpc->taps[k - m - 1];
            }
            made[k] = restored(lpc, sums[k], residuals[i + k]);
        }
        memcpy(values + i, made, sizeof made);
    }
    for (; i < count; i++) {
        values[i] =
            restored(lpc, guess_narrow(values + i - ORDER_MAX, spread.taps[0]), residuals[i]);
    }
}

void codec_lpc_residuals(const struct codec_lpc *lpc, int16_t *scratch, const int32_t *counts,
                         uint32_t count, uint32_t *residuals)
{
    uint32_t before = (uint32_t)lpc->mean;
    uint32_t warm = warm_up(lpc, count);
    for (uint32_t i = 0; i < warm; i++) {
        residuals[i] = zigzag32((uint32_t)counts[i] - before);
        before = (uint32_t)counts[i];
    }
    if (!lpc->narrow) {
        for (uint32_t i = warm; i < count; i++) {
            residuals[i] = zigzag32((uint32_t)counts[i] - (uint32_t)lpc->mean -
                                    (uint32_t)guess_wide(counts, i, lpc));
        }
        return;
    }
    int16_t *values = scratch + ORDER_MAX;
    memset(scratch, 0, ORDER_MAX * sizeof *scratch);
    for (uint32_t i = 0; i < count; i++) {
        values[i] = (int16_t)(counts[i] - lpc->mean);
    }
    residuals_narrow(lpc, values, warm, count, residuals);
}

void codec_lpc_restore(const struct codec_lpc *lpc, int16_t *scratch, const uint32_t *residuals,
                       uint32_t count, int32_t *counts)
{
    uint32_t before = (uint32_t)lpc->mean;
    uint32_t warm = warm_up(lpc, count);
    for (uint32_t i = 0; i < warm; i++) {
        before += unzigzag32(residuals[i]);
        counts[i] = (int32_t)before;
    }
    if (!lpc->narrow) {
        for (uint32_t i = warm; i < count; i++) {
            counts[i] = (int32_t)(unzigzag32(residuals[i]) + (uint32_t)lpc->mean +
                                  (uint32_t)guess_wide(counts, i, lpc));
        }
        return;
    }
    int16_t *values = scratch + ORDER_MAX;
    memset(scratch, 0, ORDER_MAX * sizeof *scratch);
    for (uint32_t i = 0; i < warm; i++) {
        values[i] = (int16_t)(uint16_t)((uint32_t)counts[i] - (uint32_t)lpc->mean);
    }
    restore_narrow(lpc, residuals, warm, count, values);
    for (uint32_t i = warm; i < count; i++) {
        counts[i] = (int32_t)((uint32_t)values[i] + (uint32_t)lpc->mean);
    }
}

size_t codec_lpc_write(const struct codec_lpc *lpc, uint8_t *out)
{
    size_t length = 0;
    out[length++] = (uint8_t)(lpc->order | (lpc->narrow ? CODEC_LPC_NARROW : 0u));
    out[length++] = (uint8_t)lpc->shift;
    length += codec_put_varint(out + length, zigzag32((uint32_t)lpc->mean));
    for (unsigned i = 0; i < lpc->order; i++) {
        length += codec_put_varint(out + length, zigzag32((uint32_t)lpc->taps[i]));
    }
    return length;
}

int codec_lpc_read(struct codec_cursor *cursor, struct codec_lpc *lpc)
{
    *lpc = (struct codec_lpc){0};
    if (cursor->end - cursor->at < 2) {
        return -1;
    }
    uint8_t order = *cursor->at++;
    lpc->narrow = (order & CODEC_LPC_NARROW) != 0;
    lpc->order = order & (CODEC_LPC_NARROW - 1u);
    lpc->shift = *cursor->at++;
    uint64_t mean = codec_get_varint(cursor);
    if (lpc->order == 0 || lpc->order > ORDER_MAX || lpc->shift > SHIFT_MAX || mean > UINT32_MAX) {
        return -1;
    }
    lpc->mean = (int32_t)unzigzag32((uint32_t)mean);
    for (unsigned i = 0; i < lpc->order; i++) {
        uint64_t tap = codec_get_varint(cursor);
        if (tap > UINT16_MAX) {
            return -1;
        }
        lpc->taps[i] = (int16_t)(int32_t)unzigzag32((uint32_t)tap);
    }
    return cursor->bad || (lpc->narrow && !taps_narrow(lpc)) ? -1 : 0;
}
