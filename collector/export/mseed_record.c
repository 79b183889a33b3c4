/* Blocks -> miniSEED records, through libmseed.
 * Must never round a count, nor leave a start time coarser than the microsecond: each record has
 * blockette 1001, and its note (blockette 2000) has the nanoseconds. Called by mseed.c. */
#include "collector/export/mseed_record.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include <libmseed.h>

#include "collector/export/whole.h"
#include "common/clock.h"

/* What a Steim-2 record of this size can hold at the most: seven differences a word. */
#define RECORD_SAMPLES_MAX 600u
#define STEIM2_LIMIT (INT64_C(1) << 29)
#define OPAQUE_HEAD 11 /* of blockette 2000 without its first four bytes */
#define DOUBLE_DIGITS_LIMIT INT64_C(1000000000000000)
#define DOUBLE_EXPONENT_MAX 200

enum { ENCODING_TEXT = 0, ENCODING_INT32 = 3, ENCODING_DOUBLE = 5, ENCODING_STEIM2 = 11 };

struct run {
    FILE *out;
    const struct mseed_stream *stream;
    struct error *error;
    char record[MSEED_RECORD_SIZE];
    size_t records;   /* that the library made of what it was given */
    uint32_t samples; /* in the first of them */
};

static void on_record(char *record, int length, void *context)
{
    struct run *run = context;
    if (run->records++ == 0 && length == MSEED_RECORD_SIZE) {
        memcpy(run->record, record, MSEED_RECORD_SIZE);
        run->samples = (uint32_t)((unsigned char)record[30] << 8 | (unsigned char)record[31]);
    }
}

static int library_failed(const struct run *run)
{
    return error_set(run->error, ERROR_MEMORY, "mseed: can't pack a record of %s %s",
                     run->stream->note.node, run->stream->note.channel);
}

static int add_note(struct run *run, MSRecord *msr, const struct seed_note *note)
{
    char text[SEED_NOTE_SIZE];
    char opaque[OPAQUE_HEAD + SEED_NOTE_SIZE] = {0};
    size_t length = seed_note_format(note, text);
    uint16_t total = (uint16_t)(4 + OPAQUE_HEAD + length);
    uint32_t number = 0;
    memcpy(opaque, &total, sizeof total);
    memcpy(opaque + 2, &total, sizeof total); /* where the opaque data would begin: there is none */
    memcpy(opaque + 4, &number, sizeof number);
    opaque[8] = 1; /* big-endian */
    opaque[10] = 9;
    memcpy(opaque + OPAQUE_HEAD, text, length);
    return msr_addblockette(msr, opaque, (int)(OPAQUE_HEAD + length), 2000, 0)
               ? 0
               : library_failed(run);
}

static int add_blockettes(struct run *run, MSRecord *msr, const struct seed_note *note)
{
    struct blkt_1000_s format = {0};
    struct blkt_1001_s timing = {.timing_qual = run->stream->clock_known ? 100 : 0};
    struct blkt_100_s rate = {.samprate = (float)msr->samprate};
    if (!msr_addblockette(msr, (char *)&format, sizeof format, 1000, 0) ||
        !msr_addblockette(msr, (char *)&timing, sizeof timing, 1001, 0) ||
        (msr->samprate > 0 && !msr_addblockette(msr, (char *)&rate, sizeof rate, 100, 0))) {
        return library_failed(run);
    }
    return add_note(run, msr, note);
}

/* Rounds towards the past, so that the note's nanoseconds come after it. */
static hptime_t microseconds(int64_t time_ns)
{
    return time_ns / 1000 - (time_ns % 1000 < 0 ? 1 : 0);
}

static void describe(const struct run *run, MSRecord *msr, const struct seed_note *note)
{
    msr->reclen = MSEED_RECORD_SIZE;
    msr->dataquality = 'R';
    msr->byteorder = 1;
    msr->sequence_number = 1;
    msr->starttime = microseconds(note->t0_ns);
    msr->samprate = note->period_ps > 0 ? (double)PS_PER_S / (double)note->period_ps : 0.0;
    memcpy(msr->network, SEED_NETWORK, sizeof SEED_NETWORK);
    memcpy(msr->station, run->stream->station, sizeof run->stream->station);
    memcpy(msr->location, run->stream->location, sizeof run->stream->location);
    memcpy(msr->channel, run->stream->channel, sizeof run->stream->channel);
}

static size_t sample_size(char type)
{
    return type == 'd' ? sizeof(double) : type == 'i' ? sizeof(int32_t) : 1;
}

/* As many of the samples as one record takes; how many that were in run->samples. */
static int put_record(struct run *run, const struct seed_note *note, int encoding, char type,
                      const void *samples, uint32_t count)
{
    MSRecord *msr = msr_init(NULL);
    int64_t packed = 0;
    size_t size = count * sample_size(type);
    if (!msr) {
        return library_failed(run);
    }
    describe(run, msr, note);
    msr->encoding = (int8_t)encoding;
    msr->sampletype = type;
    msr->numsamples = count;
    msr->datasamples = malloc(size + 1); /* of nothing it may be none */
    run->records = 0;
    int result = msr->datasamples ? add_blockettes(run, msr, note) : library_failed(run);
    if (result == 0) {
        memcpy(msr->datasamples, samples, size);
        if (msr_pack(msr, on_record, run, &packed, 1, 0) < 1 || run->samples == 0) {
            result = library_failed(run);
        }
    }
    msr_free(&msr);
    if (result == 0 && fwrite(run->record, MSEED_RECORD_SIZE, 1, run->out) != 1) {
        result = whole_fail("export", run->error);
    }
    return result;
}

/* Whether every difference fits Steim-2. */
static bool fits_steim2(const int32_t *counts, uint32_t count)
{
    for (uint32_t i = 1; i < count; i++) {
        int64_t difference = (int64_t)counts[i] - counts[i - 1];
        if (difference >= STEIM2_LIMIT || difference < -STEIM2_LIMIT) {
            return false;
        }
    }
    return true;
}

static int put_counts(struct run *run, const struct block *block, uint32_t first, uint32_t last)
{
    struct seed_note note = run->stream->note;
    note.period_ps = block->period_ps;
    uint32_t most = block->period_ps > 0 ? RECORD_SAMPLES_MAX : 1;
    for (uint32_t at = first; at < last; at += run->samples) {
        uint32_t count = last - at < most ? last - at : most;
        int encoding = fits_steim2(block->counts + at, count) ? ENCODING_STEIM2 : ENCODING_INT32;
        note.t0_ns = block_time_ns(block, at);
        if (put_record(run, &note, encoding, 'i', block->counts + at, count) != 0) {
            return -1;
        }
    }
    return 0;
}

/* Whether the double nearest to it reads back as the same decimal. */
static bool fits_double(struct decimal value)
{
    value = decimal_normal(value);
    return value.mantissa < DOUBLE_DIGITS_LIMIT && value.mantissa > -DOUBLE_DIGITS_LIMIT &&
           value.exponent < DOUBLE_EXPONENT_MAX && value.exponent > -DOUBLE_EXPONENT_MAX;
}

static int put_decimals(struct run *run, const struct block *block, uint32_t first, uint32_t last)
{
    struct seed_note note = run->stream->note;
    note.period_ps = 0;
    for (uint32_t at = first; at < last; at++) {
        const struct decimal *value = &block->decimals[at];
        double number = decimal_to_double(*value);
        char text[DECIMAL_TEXT_SIZE];
        decimal_format(*value, text);
        note.t0_ns = block_time_ns(block, at);
        int result = fits_double(*value)
                         ? put_record(run, &note, ENCODING_DOUBLE, 'd', &number, 1)
                         : put_record(run, &note, ENCODING_TEXT, 'a', text, (uint32_t)strlen(text));
        if (result != 0) {
            return -1;
        }
    }
    return 0;
}

int mseed_write_block(FILE *out, const struct mseed_stream *stream, const struct block *block,
                      uint32_t first, uint32_t last, struct error *error)
{
    struct run run = {.out = out, .stream = stream, .error = error};
    return block->encoding == BLOCK_INT32 ? put_counts(&run, block, first, last)
                                          : put_decimals(&run, block, first, last);
}
