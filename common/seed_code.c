/* Nodes and channels in miniSEED's letters, and the note beside them.
 * Must never give two nodes of a site the same station code.
 * Called by the miniSEED export and import. */
#include "common/seed_code.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define FIELDS 9
#define MARK "roomwake"

static void shorten(const char *id, char code[SEED_STATION_SIZE])
{
    size_t length = 0;
    for (const char *at = id; *at && length < SEED_STATION_SIZE - 1; at++) {
        if (isalnum((unsigned char)*at)) {
            code[length++] = (char)toupper((unsigned char)*at);
        }
    }
    code[length] = '\0';
}

static bool is_anothers(const struct site *site, size_t node, const char *code)
{
    for (size_t i = 0; i < site->node_count; i++) {
        char other[SEED_STATION_SIZE];
        shorten(site->nodes[i].id, other);
        if (i != node && strcmp(other, code) == 0) {
            return true;
        }
    }
    return false;
}

void seed_station_code(const struct site *site, size_t node, char code[SEED_STATION_SIZE])
{
    shorten(site->nodes[node].id, code);
    for (char letter = 'Z'; letter > 'A' && (code[0] == '\0' || is_anothers(site, node, code));
         letter--) {
        (void)snprintf(code, SEED_STATION_SIZE, "%c%04zu", letter, node % 10000);
    }
}

/* Appendix A, "Band Code", for instruments whose corner period is 10 s or more, or none. */
static char band_code(double rate_hz)
{
    static const struct {
        double least_hz;
        char code;
    } bands[] = {{1000, 'F'}, {250, 'C'},  {80, 'H'},    {10, 'B'},    {1.5, 'M'},
                 {0.3, 'L'},  {0.03, 'V'}, {0.003, 'U'}, {1e-300, 'R'}};
    for (size_t i = 0; i < sizeof bands / sizeof *bands; i++) {
        if (rate_hz >= bands[i].least_hz) {
            return bands[i].code;
        }
    }
    return 'A';
}

static char axis_code(const char *name)
{
    char quantity[IDENT_SIZE];
    char axis[IDENT_SIZE];
    channel_name_split(name, quantity, axis);
    return axis[0] == 'y' ? '2' : axis[0] == 'z' ? '3' : '1';
}

void seed_channel_code(const struct channel *channel, char code[SEED_CHANNEL_SIZE])
{
    static const char *const codes[QUANTITY_COUNT] = {
        [QUANTITY_MAGNETIC] = "F",  [QUANTITY_ELECTRIC] = "Q",  [QUANTITY_TEMPERATURE] = "KI",
        [QUANTITY_MOTION] = "YM",   [QUANTITY_VIBRATION] = "N", [QUANTITY_SOUND] = "YS",
        [QUANTITY_PRESSURE] = "DI", [QUANTITY_HUMIDITY] = "II", [QUANTITY_BATTERY] = "YB",
        [QUANTITY_CLOCK] = "YC",    [QUANTITY_OTHER] = "YX",
    };
    const char *letters = codes[channel->quantity];
    code[0] = band_code(channel->rate_hz);
    code[1] = letters[0];
    code[2] = letters[1] ? letters[1] : axis_code(channel->name);
    code[3] = '\0';
}

size_t seed_note_format(const struct seed_note *note, char text[SEED_NOTE_SIZE])
{
    char step[DECIMAL_TEXT_SIZE];
    char offset[DECIMAL_TEXT_SIZE];
    decimal_format(note->step, step);
    decimal_format(note->offset, offset);
    int length =
        snprintf(text, SEED_NOTE_SIZE, MARK "~1~%s~%s~%s~%s~%s~%" PRId64 "~%" PRId64 "~",
                 note->node, note->channel, note->unit, step, offset, note->t0_ns, note->period_ps);
    return (size_t)length;
}

static int parse_int(const char *text, size_t length, int64_t *out)
{
    struct decimal value;
    return decimal_parse(text, length, &value, NULL) != 0 || decimal_rescale(value, 0, out) != 0
               ? -1
               : 0;
}

static int copy(const char *text, size_t length, char *out, size_t size)
{
    if (length >= size) {
        return -1;
    }
    memcpy(out, text, length);
    out[length] = '\0';
    return 0;
}

/* A time has up to 19 digits, one more than a decimal holds: by hand. */
static int parse_time(const char *text, size_t length, int64_t *out)
{
    bool negative = length > 0 && text[0] == '-';
    int64_t value = 0;
    if (length == (negative ? 1u : 0u)) {
        return -1;
    }
    for (size_t i = negative ? 1 : 0; i < length; i++) {
        if (text[i] < '0' || text[i] > '9' || __builtin_mul_overflow(value, 10, &value) ||
            __builtin_sub_overflow(value, text[i] - '0', &value)) {
            return -1;
        }
    }
    return negative ? (*out = value, 0) : __builtin_sub_overflow(0, value, out) ? -1 : 0;
}

static int read_fields(const char *const *fields, const size_t *lengths, struct seed_note *note)
{
    if (copy(fields[2], lengths[2], note->node, sizeof note->node) != 0 ||
        copy(fields[3], lengths[3], note->channel, sizeof note->channel) != 0 ||
        copy(fields[4], lengths[4], note->unit, sizeof note->unit) != 0 ||
        decimal_parse(fields[5], lengths[5], &note->step, NULL) != 0 ||
        decimal_parse(fields[6], lengths[6], &note->offset, NULL) != 0 ||
        parse_time(fields[7], lengths[7], &note->t0_ns) != 0 ||
        parse_int(fields[8], lengths[8], &note->period_ps) != 0) {
        return -1;
    }
    return note->period_ps < 0 || !ident_valid(note->node, strlen(note->node)) ||
                   !channel_name_valid(note->channel, strlen(note->channel))
               ? -1
               : 0;
}

int seed_note_parse(const char *text, size_t length, struct seed_note *note, struct error *error)
{
    const char *fields[FIELDS];
    size_t lengths[FIELDS];
    size_t count = 0;
    const char *end = text + length;
    for (const char *at = text; at < end && count < FIELDS; count++) {
        const char *tilde = memchr(at, '~', (size_t)(end - at));
        if (!tilde) {
            break;
        }
        fields[count] = at;
        lengths[count] = (size_t)(tilde - at);
        at = tilde + 1;
    }
    if (count == 0 || lengths[0] != strlen(MARK) || memcmp(fields[0], MARK, lengths[0]) != 0) {
        return 0;
    }
    *note = (struct seed_note){0};
    if (count < FIELDS || lengths[1] != 1 || fields[1][0] != '1' ||
        read_fields(fields, lengths, note) != 0) {
        return error_set(error, ERROR_FORMAT, "a record's note is damaged");
    }
    return 1;
}
