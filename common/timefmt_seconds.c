/* Decimal seconds since 1970 to int64 nanoseconds and back, to the last digit.
 * Must never pass a time through a double, nor round unless asked.
 * Called by CSV import and export and by SenML. */
#include "common/timefmt.h"

#include <stdbool.h>

#include "common/number.h"

#define FRACTION_DIGITS 9

enum outcome { EXACT, ROUNDED, TOO_LARGE };

/* Adds each digit at its power of ten of a nanosecond. */
static enum outcome add_digits(const char *text, const struct number_parts *parts, int64_t *ns)
{
    enum outcome outcome = EXACT;
    int64_t sum = 0;
    int64_t power = (int64_t)parts->whole - 1 + parts->exponent + FRACTION_DIGITS;
    for (size_t at = parts->start; at < parts->end; at++) {
        if (text[at] == '.') {
            continue;
        }
        int64_t digit = parts->negative ? '0' - text[at] : text[at] - '0';
        if (digit != 0 && power > NUMBER_POWER_MOST) {
            return TOO_LARGE;
        }
        if (digit != 0 && power < 0) {
            outcome = ROUNDED;
            digit = power == -1 && (digit >= 5 || digit <= -5) ? (digit > 0 ? 1 : -1) : 0;
        }
        int64_t worth = 0;
        if (digit != 0 &&
            (__builtin_mul_overflow(digit, number_powers[power < 0 ? 0 : power], &worth) ||
             __builtin_add_overflow(sum, worth, &sum))) {
            return TOO_LARGE;
        }
        power--;
    }
    *ns = sum;
    return outcome;
}

static int parse(const char *text, size_t length, bool nearest, int64_t *utc_ns,
                 struct error *error)
{
    struct number_parts parts;
    int shown = length > TIMEFMT_SIZE ? TIMEFMT_SIZE : (int)length;
    if (!number_take_apart(text, length, &parts)) {
        return error_set(error, ERROR_FORMAT, "\"%.*s\": not a number of seconds", shown, text);
    }
    int64_t ns = 0;
    enum outcome outcome = add_digits(text, &parts, &ns);
    if (outcome == TOO_LARGE) {
        return error_set(error, ERROR_RANGE, "%.*s: not within the years 1677 to 2262", shown,
                         text);
    }
    if (outcome == ROUNDED && !nearest) {
        return error_set(error, ERROR_RANGE, "%.*s: finer than a nanosecond", shown, text);
    }
    *utc_ns = ns;
    return 0;
}

int timefmt_parse_seconds(const char *text, size_t length, int64_t *utc_ns, struct error *error)
{
    return parse(text, length, false, utc_ns, error);
}

int timefmt_parse_seconds_nearest(const char *text, size_t length, int64_t *utc_ns,
                                  struct error *error)
{
    return parse(text, length, true, utc_ns, error);
}

void timefmt_seconds(int64_t utc_ns, char text[TIMEFMT_SIZE])
{
    char reversed[TIMEFMT_SIZE];
    size_t count = 0;
    uint64_t left = utc_ns < 0 ? 0 - (uint64_t)utc_ns : (uint64_t)utc_ns;
    int places = FRACTION_DIGITS;
    while (places > 0 && left % 10 == 0) {
        left /= 10;
        places--;
    }
    for (; places > 0; places--) {
        reversed[count++] = (char)('0' + left % 10);
        left /= 10;
        if (places == 1) {
            reversed[count++] = '.';
        }
    }
    do {
        reversed[count++] = (char)('0' + left % 10);
        left /= 10;
    } while (left > 0);
    if (utc_ns < 0) {
        reversed[count++] = '-';
    }
    char *at = text;
    while (count > 0) {
        *at++ = reversed[--count];
    }
    *at = '\0';
}
