/* The one grammar of decimal numbers in texts from outside.
 * Must never read past the length.
 * Called by decimal.c and timefmt_seconds.c. */
#include "common/number.h"

/* A written exponent beyond this is out of range whatever the digits; stops sums overflowing. */
#define EXPONENT_WRITTEN_MAX 100000000

const int64_t number_powers[NUMBER_POWER_MOST + 1] = {
    INT64_C(1),
    INT64_C(10),
    INT64_C(100),
    INT64_C(1000),
    INT64_C(10000),
    INT64_C(100000),
    INT64_C(1000000),
    INT64_C(10000000),
    INT64_C(100000000),
    INT64_C(1000000000),
    INT64_C(10000000000),
    INT64_C(100000000000),
    INT64_C(1000000000000),
    INT64_C(10000000000000),
    INT64_C(100000000000000),
    INT64_C(1000000000000000),
    INT64_C(10000000000000000),
    INT64_C(100000000000000000),
    INT64_C(1000000000000000000),
};

static size_t skip_digits(const char *text, size_t length, size_t at)
{
    while (at < length && text[at] >= '0' && text[at] <= '9') {
        at++;
    }
    return at;
}

/* "e-12" from `at` to the end, or nothing. */
static bool take_exponent(const char *text, size_t length, size_t at, int64_t *exponent)
{
    if (at == length) {
        return true;
    }
    if (text[at] != 'e' && text[at] != 'E') {
        return false;
    }
    at++;
    bool negative = at < length && text[at] == '-';
    if (at < length && (text[at] == '-' || text[at] == '+')) {
        at++;
    }
    size_t end = skip_digits(text, length, at);
    if (end == at || end != length) {
        return false;
    }
    int64_t written = 0;
    for (; at < end; at++) {
        written = written * 10 + (text[at] - '0');
        if (written > EXPONENT_WRITTEN_MAX) {
            written = EXPONENT_WRITTEN_MAX;
        }
    }
    *exponent = negative ? -written : written;
    return true;
}

bool number_take_apart(const char *text, size_t length, struct number_parts *parts)
{
    *parts = (struct number_parts){0};
    parts->negative = length > 0 && text[0] == '-';
    parts->start = length > 0 && (text[0] == '-' || text[0] == '+') ? 1 : 0;
    parts->end = skip_digits(text, length, parts->start);
    parts->whole = parts->end - parts->start;
    if (parts->whole == 0) {
        return false;
    }
    if (parts->end < length && text[parts->end] == '.') {
        size_t fraction = parts->end + 1;
        parts->end = skip_digits(text, length, fraction);
        parts->places = parts->end - fraction;
        if (parts->places == 0) {
            return false;
        }
    }
    return take_exponent(text, length, parts->end, &parts->exponent);
}
