/* Exact decimals as text, fast: an export writes millions of them.
 * Must never print through the C library nor lose a digit.
 * Called by channels, exports and messages. */
#include "common/decimal.h"

#include <string.h>

#define DIGITS_SIZE 20    /* of the largest int64 magnitude, 19, and one to spare */
#define PLAIN_LEFT_MAX 21 /* digits before the point in plain text */
#define PLAIN_RIGHT_MIN (-9)

/* Digits of `number` into the end of `digits`; returns where they start. */
static size_t write_digits(uint64_t number, char digits[DIGITS_SIZE])
{
    size_t at = DIGITS_SIZE;
    do {
        digits[--at] = (char)('0' + number % 10);
        number /= 10;
    } while (number > 0);
    return at;
}

static char *put(char *at, const char *bytes, size_t length)
{
    memcpy(at, bytes, length);
    return at + length;
}

static char *put_zeros(char *at, int count)
{
    memset(at, '0', (size_t)count);
    return at + count;
}

/* "4.87e-12". `lead` is the exponent of the first digit. */
static char *put_scientific(char *at, const char *digits, int count, int lead)
{
    *at++ = digits[0];
    if (count > 1) {
        *at++ = '.';
        at = put(at, digits + 1, (size_t)count - 1);
    }
    *at++ = 'e';
    if (lead < 0) {
        *at++ = '-';
    }
    char exponent[DIGITS_SIZE];
    size_t start = write_digits((uint64_t)(lead < 0 ? -lead : lead), exponent);
    return put(at, exponent + start, DIGITS_SIZE - start);
}

void decimal_format(struct decimal value, char text[DECIMAL_TEXT_SIZE])
{
    value = decimal_normal(value);
    char buffer[DIGITS_SIZE];
    uint64_t magnitude =
        value.mantissa < 0 ? 0 - (uint64_t)value.mantissa : (uint64_t)value.mantissa;
    size_t start = write_digits(magnitude, buffer);
    const char *digits = buffer + start;
    int count = (int)(DIGITS_SIZE - start);
    int lead = count - 1 + value.exponent;
    char *at = text;
    if (value.mantissa < 0) {
        *at++ = '-';
    }
    if (lead < PLAIN_RIGHT_MIN || lead >= PLAIN_LEFT_MAX) {
        at = put_scientific(at, digits, count, lead);
    } else if (value.exponent >= 0) {
        at = put(at, digits, (size_t)count);
        at = put_zeros(at, value.exponent);
    } else if (lead >= 0) {
        at = put(at, digits, (size_t)lead + 1);
        *at++ = '.';
        at = put(at, digits + lead + 1, (size_t)(count - lead - 1));
    } else {
        at = put(at, "0.", 2);
        at = put_zeros(at, -lead - 1);
        at = put(at, digits, (size_t)count);
    }
    *at = '\0';
}
