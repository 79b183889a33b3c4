/* Summaries that keep every extreme.
 * Must never touch a database. Called by the writer and the reader. */
#include "collector/night/zoom.h"

#include <math.h>
#include <string.h>

#include "common/bytes.h"

/* A list's codec kind (1) and length (2). */
#define LIST_HEAD 3u

static void summarise_counts(const struct block *block, struct zoom_summary *summary)
{
    int32_t min = block->counts[0];
    int32_t max = min;
    int64_t sum = 0;
    for (uint32_t i = 0; i < block->count; i++) {
        int32_t count = block->counts[i];
        min = count < min ? count : min;
        max = count > max ? count : max;
        sum += count;
    }
    summary->min_count = min;
    summary->max_count = max;
    summary->sum_counts = sum;
}

void zoom_from_counts(const struct channel *channel, int64_t min, int64_t max, int64_t sum,
                      struct zoom_bucket *bucket)
{
    double a = channel_value(channel, min);
    double b = channel_value(channel, max);
    bucket->min = fmin(a, b); /* a step may be negative */
    bucket->max = fmax(a, b);
    bucket->sum = (double)sum * decimal_to_double(channel->step) +
                  (double)bucket->count * decimal_to_double(channel->offset);
}

void zoom_summarise(const struct block *block, const struct channel *channel,
                    struct zoom_summary *summary)
{
    *summary = (struct zoom_summary){.values = {.t0_ns = block->t0_ns,
                                                .t1_ns = block_time_ns(block, block->count - 1),
                                                .count = block->count}};
    struct zoom_bucket *values = &summary->values;
    if (block->encoding == BLOCK_INT32) {
        summarise_counts(block, summary);
        zoom_from_counts(channel, summary->min_count, summary->max_count, summary->sum_counts,
                         values);
        return;
    }
    values->min = values->max = block_value(block, channel, 0);
    for (uint32_t i = 0; i < block->count; i++) {
        double value = block_value(block, channel, i);
        values->min = fmin(values->min, value);
        values->max = fmax(values->max, value);
        values->sum += value;
    }
}

void zoom_join(struct zoom_bucket *into, const struct zoom_bucket *other)
{
    if (into->count == 0) {
        *into = *other;
        return;
    }
    into->t0_ns = other->t0_ns < into->t0_ns ? other->t0_ns : into->t0_ns;
    into->t1_ns = other->t1_ns > into->t1_ns ? other->t1_ns : into->t1_ns;
    into->count += other->count;
    into->min = fmin(into->min, other->min);
    into->max = fmax(into->max, other->max);
    into->sum += other->sum;
}

void zoom_runs_make(const int32_t *counts, uint32_t count, struct zoom_runs *runs)
{
    runs->count = 0;
    for (uint32_t start = 0; start < count; start += ZOOM_RUN) {
        uint32_t end = count - start < ZOOM_RUN ? count : start + ZOOM_RUN;
        int32_t min = counts[start];
        int32_t max = min;
        for (uint32_t i = start; i < end; i++) {
            min = counts[i] < min ? counts[i] : min;
            max = counts[i] > max ? counts[i] : max;
        }
        runs->min[runs->count] = min;
        runs->max[runs->count++] = max;
    }
}

static size_t put_list(struct codec *codec, const int32_t *list, size_t count, uint8_t *bytes)
{
    struct codec_bytes packed;
    codec_encode_counts(codec, list, (uint32_t)count, &packed);
    struct bytes_writer writer = bytes_writer_of(bytes, LIST_HEAD);
    bytes_write_u8(&writer, (uint8_t)packed.kind);
    bytes_write_u16(&writer, (uint16_t)packed.length);
    memcpy(bytes + LIST_HEAD, packed.bytes, packed.length);
    return LIST_HEAD + packed.length;
}

void zoom_runs_encode(struct codec *codec, const struct zoom_runs *runs, uint8_t *bytes,
                      size_t *length)
{
    size_t used = put_list(codec, runs->min, runs->count, bytes);
    *length = used + put_list(codec, runs->max, runs->count, bytes + used);
}

static int get_list(struct codec *codec, struct bytes_reader *reader, size_t count, int32_t *list,
                    struct error *error)
{
    uint8_t kind = bytes_read_u8(reader);
    uint16_t length = bytes_read_u16(reader);
    const uint8_t *bytes = bytes_read_run(reader, length);
    enum block_encoding encoding;
    if (reader->failed || codec_encoding(kind, &encoding) != 0 || encoding != BLOCK_INT32) {
        return error_set(error, ERROR_FORMAT, "damaged zoom");
    }
    return codec_decode_counts(codec, (enum codec_kind)kind, bytes, length, (uint32_t)count, list,
                               error);
}

int zoom_runs_decode(struct codec *codec, const uint8_t *bytes, size_t length, uint32_t samples,
                     struct zoom_runs *runs, struct error *error)
{
    struct bytes_reader reader = bytes_reader_of(bytes, length);
    runs->count = (samples + ZOOM_RUN - 1) / ZOOM_RUN;
    if (samples == 0 || runs->count > ZOOM_RUNS_MAX) {
        return error_set(error, ERROR_FORMAT, "damaged zoom");
    }
    return get_list(codec, &reader, runs->count, runs->min, error) == 0
               ? get_list(codec, &reader, runs->count, runs->max, error)
               : -1;
}
