/* miniSEED records, decoded by libmseed.
 * Must never hand the library a record whose frame was not checked, nor guess a scale.
 * Called by mseed_file.c. */
#include "collector/ingest/mseed_record.h"

#include <inttypes.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include <libmseed.h>

#include "common/clock.h"
#include "common/seed_code.h"

#define HEADER_SIZE 48
#define OPAQUE_HEAD 11 /* of blockette 2000 without its first four bytes */
#define RECORD_MAX 65536
#define BLOCKETTES_MAX 32
#define RATE_FIT 1e-6 /* blockette 100 has 24 bits */
#define SPAN_MAX_PS (INT64_MAX / 4)
#define TIME_LIMIT_NS (INT64_C(1) << 61)

static uint16_t read_16(const char *at, bool little)
{
    const unsigned char *bytes = (const unsigned char *)at;
    return (uint16_t)(little ? bytes[1] << 8 | bytes[0] : bytes[0] << 8 | bytes[1]);
}

/* How long a blockette is at the least, so that the library reads nothing beyond it. */
static size_t blockette_size(uint16_t type)
{
    static const struct {
        uint16_t type;
        uint16_t size;
    } known[] = {{100, 12}, {200, 52}, {201, 60}, {300, 60},  {310, 60}, {320, 64}, {390, 28},
                 {395, 16}, {400, 16}, {405, 6},  {500, 200}, {1000, 8}, {1001, 8}, {2000, 15}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        if (known[i].type == type) {
            return known[i].size;
        }
    }
    return 0;
}

/* Walks the chain of blockettes: each within the header, each behind the one before, one of them
 * 1000, which tells the encoding. */
static bool chain_is_sound(const char *record, size_t length, bool little, int *encoding)
{
    size_t data = read_16(record + 44, little);
    size_t at = read_16(record + 46, little);
    size_t before = HEADER_SIZE - 1;
    if (data > length || (data > 0 && data < HEADER_SIZE)) {
        return false;
    }
    size_t end = data > 0 ? data : length;
    for (int count = 0; at != 0; count++) {
        if (count == BLOCKETTES_MAX || at <= before || at + 4 > end) {
            return false;
        }
        uint16_t type = read_16(record + at, little);
        size_t size = blockette_size(type);
        if (type == 2000 && at + 6 <= end) {
            size_t told = read_16(record + at + 4, little);
            size = told >= size ? told : 0; /* the library believes it */
        }
        if (size == 0 || at + size > end) {
            return false;
        }
        if (type == 1000) {
            if (*encoding >= 0) {
                return false;
            }
            *encoding = (unsigned char)record[at + 4];
        }
        before = at + size - 1;
        at = read_16(record + at + 2, little);
    }
    return true;
}

/* Whether as many samples as the header says can be in the record: the library does not ask. */
static bool data_fit(const char *record, size_t length, bool little, int encoding)
{
    enum { TEXT = 0, INT16 = 1, INT32 = 3, FLOAT = 4, DOUBLE = 5, STEIM1 = 10, STEIM2 = 11 };
    size_t samples = read_16(record + 30, little);
    size_t data = read_16(record + 44, little);
    size_t bytes = data >= HEADER_SIZE ? length - data : 0;
    switch (encoding) {
    case TEXT:
        return samples <= bytes;
    case INT16:
        return samples * 2 <= bytes;
    case INT32:
    case FLOAT:
        return samples * 4 <= bytes;
    case DOUBLE:
        return samples * 8 <= bytes;
    case STEIM1:
    case STEIM2: /* frames of 64 bytes; at most seven differences a word */
        return samples == 0 || (bytes >= 64 && samples <= bytes / 4 * 7);
    default:
        return false;
    }
}

/* The header's year, as libmseed tells the byte order on a little-endian machine: a year may be one
 * in both orders. */
static bool is_little(const char *record)
{
    uint16_t year = read_16(record + 20, true);
    uint16_t day = read_16(record + 22, true);
    return year >= 1900 && year <= 2100 && day >= 1 && day <= 366;
}

static int unpack(const char *bytes, size_t length, flag with_data, MSRecord **record)
{
    char *copy = malloc(length); /* the library swaps in place */
    if (!copy) {
        return MSEED_NO_MEMORY;
    }
    memcpy(copy, bytes, length);
    int result = msr_unpack(copy, (int)length, record, with_data, 0);
    if (*record) {
        (*record)->record = NULL;
    }
    free(copy);
    return result;
}

int mseed_record_look(const char *bytes, size_t left, size_t *length, int64_t *start_ns)
{
    left = left > INT_MAX ? INT_MAX : left;
    int found =
        left >= HEADER_SIZE ? ms_detect(bytes, left > RECORD_MAX ? RECORD_MAX : (int)left) : -1;
    int encoding = -1;
    if (found < HEADER_SIZE || (size_t)found > left ||
        !chain_is_sound(bytes, (size_t)found, is_little(bytes), &encoding) ||
        !data_fit(bytes, (size_t)found, is_little(bytes), encoding)) {
        return -1;
    }
    MSRecord *record = NULL;
    int result = unpack(bytes, (size_t)found, 0, &record);
    if (result == MS_NOERROR && __builtin_mul_overflow(record->starttime, 1000, start_ns)) {
        result = MS_GENERROR;
    }
    msr_free(&record);
    *length = (size_t)found;
    const int64_t start = *start_ns;
    bool sound = start < TIME_LIMIT_NS && start > -TIME_LIMIT_NS;
    return result == MSEED_NO_MEMORY ? result : result == MS_NOERROR && sound ? 0 : -1;
}

struct record_run {
    const struct mseed_names *names;
    uint64_t place;
    struct mseed_samples *samples;
    struct channel channel; /* with the record's scale */
    bool scaled;
    struct error *error;
};

static int fail(const struct record_run *run, const char *what)
{
    return error_set(run->error, ERROR_FORMAT, "%s: record %" PRIu64 ": %s", run->names->file,
                     run->place, what);
}

/* 1: the record has our note; 0: none. */
static int find_note(struct record_run *run, const MSRecord *record, struct seed_note *note)
{
    for (const BlktLink *link = record->blkts; link; link = link->next) {
        if (link->blkt_type == 2000 && link->blktdatalen > OPAQUE_HEAD) {
            int found = seed_note_parse((const char *)link->blktdata + OPAQUE_HEAD,
                                        (size_t)link->blktdatalen - OPAQUE_HEAD, note, run->error);
            if (found < 0) {
                return error_wrap(run->error, "%s: record %" PRIu64, run->names->file, run->place);
            }
            if (found == 1) {
                return 1;
            }
        }
    }
    return 0;
}

static int set_channel(struct record_run *run, const char *name, const char *unit)
{
    const struct site_node *node = &run->names->site->nodes[run->samples->node];
    if (strcmp(name, RECORDING_CLOCK_NAME) == 0) {
        run->samples->channel = RECORDING_CLOCK;
        return 0;
    }
    size_t found = site_node_find_channel(node, name);
    if (found == SIZE_MAX) {
        return error_set(run->error, ERROR_FORMAT,
                         "%s: record %" PRIu64 ": node %s has no channel %s in the site file",
                         run->names->file, run->place, node->id, name);
    }
    if (unit && strcmp(node->channels[found].unit, unit) != 0) {
        return fail(run, "its unit is not the site file's");
    }
    run->samples->channel = (uint16_t)found;
    return 0;
}

/* Whether the note tells the record's own time and rate, only finer: else somebody changed one of
 * them. */
static bool note_fits(const MSRecord *record, const struct seed_note *note)
{
    double rate_hz = note->period_ps > 0 ? (double)PS_PER_S / (double)note->period_ps : 0.0;
    double apart = record->samprate - rate_hz;
    if (note->t0_ns >= TIME_LIMIT_NS || note->t0_ns <= -TIME_LIMIT_NS) {
        return false;
    }
    int64_t after = note->t0_ns - record->starttime * 1000;
    return after >= 0 && after < 1000 && apart <= rate_hz * RATE_FIT &&
           apart >= -rate_hz * RATE_FIT;
}

static int take_note(struct record_run *run, const MSRecord *record, const struct seed_note *note)
{
    if (!note_fits(record, note)) {
        return fail(run, "its note tells another time or rate than its header");
    }
    size_t node = site_find_node(run->names->site, note->node);
    if (node == SIZE_MAX) {
        return error_set(run->error, ERROR_FORMAT,
                         "%s: record %" PRIu64 ": no node %s in the site file", run->names->file,
                         run->place, note->node);
    }
    run->samples->node = (uint32_t)node;
    run->samples->t0_ns = note->t0_ns;
    run->samples->period_ps = note->period_ps;
    run->channel.step = note->step;
    run->channel.offset = note->offset;
    run->scaled = true;
    return set_channel(run, note->channel, note->unit);
}

/* The channel whose letters and location these are. */
static size_t find_by_code(const struct site_node *node, const MSRecord *record)
{
    unsigned location = (unsigned)strtoul(record->location, NULL, 10);
    for (size_t i = 0; i < node->channel_count; i++) {
        char code[SEED_CHANNEL_SIZE];
        seed_channel_code(&node->channels[i], code);
        if (strcmp(code, record->channel) == 0 && location-- == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

static int take_codes(struct record_run *run, const MSRecord *record)
{
    const struct site *site = run->names->site;
    for (size_t node = 0; node < site->node_count; node++) {
        char station[SEED_STATION_SIZE];
        seed_station_code(site, node, station);
        size_t channel = strcmp(station, record->station) == 0
                             ? find_by_code(&site->nodes[node], record)
                             : SIZE_MAX;
        if (channel == SIZE_MAX) {
            continue;
        }
        run->samples->node = (uint32_t)node;
        run->samples->channel = (uint16_t)channel;
        run->samples->t0_ns = record->starttime * 1000;
        run->samples->period_ps = channel_period_ps(record->samprate);
        for (size_t i = 0; i < run->names->step_count; i++) {
            if (strcmp(run->names->steps[i].channel, site->nodes[node].channels[channel].name) ==
                0) {
                run->channel.step = run->names->steps[i].step;
                run->scaled = true;
            }
        }
        return 0;
    }
    return error_set(run->error, ERROR_FORMAT,
                     "%s: record %" PRIu64 ": %s %s %s is no node and channel of the site file",
                     run->names->file, run->place, record->station, record->location,
                     record->channel);
}

static int take_count(struct record_run *run, int32_t count, struct decimal *value)
{
    if (!run->scaled) {
        return fail(run, "counts without a scale: tell what one is worth (--step CHANNEL=NUMBER)");
    }
    if (decimal_multiply_add(count, run->channel.step, run->channel.offset, value) != 0 &&
        decimal_from_double(channel_value(&run->channel, count), value) != 0) {
        return fail(run, "a value is not a number");
    }
    return 0;
}

static int take_value(struct record_run *run, const MSRecord *record, uint32_t index,
                      struct decimal *value)
{
    double number = 0.0;
    switch (record->sampletype) {
    case 'i':
        return take_count(run, ((const int32_t *)record->datasamples)[index], value);
    case 'f':
        number = (double)((const float *)record->datasamples)[index];
        break;
    default:
        number = ((const double *)record->datasamples)[index];
        break;
    }
    return decimal_from_double(number, value) == 0 ? 0 : fail(run, "a value is not a number");
}

/* A text is one exact decimal. */
static int take_text(struct record_run *run, const MSRecord *record)
{
    size_t length = strnlen(record->datasamples, (size_t)record->numsamples);
    struct error why;
    if (decimal_parse(record->datasamples, length, &run->samples->values[0], &why) != 0) {
        return fail(run, why.text);
    }
    run->samples->count = 1;
    return 0;
}

static int reserve(struct record_run *run, size_t count)
{
    struct mseed_samples *samples = run->samples;
    if (count <= samples->size) {
        return 0;
    }
    struct decimal *values = realloc(samples->values, count * sizeof *values);
    if (!values) {
        return error_set(run->error, ERROR_MEMORY, "%s: out of memory", run->names->file);
    }
    samples->values = values;
    samples->size = count;
    return 0;
}

static int take_samples(struct record_run *run, const MSRecord *record)
{
    struct mseed_samples *samples = run->samples;
    if (record->numsamples <= 0 || record->numsamples > RECORD_MAX || !record->datasamples) {
        return record->numsamples == 0 ? 0 : fail(run, "damaged");
    }
    if (reserve(run, (size_t)record->numsamples) != 0) {
        return -1;
    }
    if (record->sampletype == 'a') {
        return take_text(run, record);
    }
    if (record->numsamples > 1 && samples->period_ps <= 0) {
        return fail(run, "several samples without a rate");
    }
    if (samples->period_ps > SPAN_MAX_PS / record->numsamples) {
        return fail(run, "samples that are too far apart");
    }
    for (uint32_t i = 0; i < record->numsamples; i++) {
        if (take_value(run, record, i, &samples->values[i]) != 0) {
            return -1;
        }
    }
    samples->count = (uint32_t)record->numsamples;
    return 0;
}

int mseed_record_read(const struct mseed_names *names, const char *bytes, size_t length,
                      uint64_t place, struct mseed_samples *samples, struct error *error)
{
    struct record_run run = {.names = names, .place = place, .samples = samples, .error = error};
    struct seed_note note;
    MSRecord *record = NULL;
    samples->place = place;
    samples->count = 0;
    samples->next = 0;
    int unpacked = unpack(bytes, length, 1, &record);
    if (unpacked != MS_NOERROR) {
        msr_free(&record);
        return unpacked == MSEED_NO_MEMORY
                   ? error_set(error, ERROR_MEMORY, "%s: out of memory", names->file)
                   : fail(&run, "can't be decoded");
    }
    int noted = find_note(&run, record, &note);
    int result = noted < 0    ? -1
                 : noted == 1 ? take_note(&run, record, &note)
                              : take_codes(&run, record);
    if (result == 0) {
        result = take_samples(&run, record);
    }
    msr_free(&record);
    return result;
}

void mseed_record_free(struct mseed_samples *samples)
{
    free(samples->values);
    *samples = (struct mseed_samples){0};
}
