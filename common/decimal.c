/* Exact decimals: read, normalise, rescale, multiply and add, convert.
 * Must never round: what needs more than 18 digits is refused.
 * Called by channels, blocks, CSV and SenML. Text output is in decimal_format.c. */
#include "common/decimal.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

#include "common/number.h"

#define DIGITS_MAX NUMBER_POWER_MOST
#define EXPONENT_MAX 300
#define MANTISSA_LIMIT INT64_C(1000000000000000000) /* 10^18 */
#define DOUBLE_EXACT_INTEGER (INT64_C(1) << 53)

/* 10^0 .. 10^22 are exact doubles. */
static const double exact_powers[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                      1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                      1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
#define EXACT_POWER_MAX 22

/* The number as it is read: `zeros` are trailing zeros held back until a digit follows. */
struct reading {
    int64_t mantissa;
    int digits;
    int64_t zeros;
    bool too_long;
};

static void take_digit(struct reading *reading, char c)
{
    if (c == '0') {
        reading->zeros += reading->mantissa != 0;
        return;
    }
    if (reading->digits + reading->zeros + 1 > DIGITS_MAX) {
        reading->too_long = true;
        return;
    }
    for (; reading->zeros > 0; reading->zeros--) {
        reading->mantissa *= 10;
        reading->digits++;
    }
    reading->mantissa = reading->mantissa * 10 + (c - '0');
    reading->digits++;
}

int decimal_parse(const char *text, size_t length, struct decimal *out, struct error *error)
{
    struct reading reading = {0};
    struct number_parts parts;
    int shown = length > 40 ? 40 : (int)length;
    if (!number_take_apart(text, length, &parts)) {
        return error_set(error, ERROR_FORMAT, "\"%.*s\": not a number", shown, text);
    }
    for (size_t at = parts.start; at < parts.end; at++) {
        if (text[at] != '.') {
            take_digit(&reading, text[at]);
        }
    }
    if (reading.too_long) {
        return error_set(error, ERROR_RANGE, "%.*s: more than %d digits", shown, text, DIGITS_MAX);
    }
    if (reading.mantissa == 0) {
        *out = (struct decimal){0, 0};
        return 0;
    }
    int64_t exponent = parts.exponent - (int64_t)parts.places + reading.zeros;
    if (exponent < -EXPONENT_MAX || exponent > EXPONENT_MAX) {
        return error_set(error, ERROR_RANGE, "%.*s: exponent beyond %d", shown, text, EXPONENT_MAX);
    }
    out->mantissa = parts.negative ? -reading.mantissa : reading.mantissa;
    out->exponent = (int16_t)exponent;
    return 0;
}

struct decimal decimal_normal(struct decimal value)
{
    if (value.mantissa == 0) {
        return (struct decimal){0, 0};
    }
    while (value.mantissa % 10 == 0 && value.exponent < INT16_MAX) {
        value.mantissa /= 10;
        value.exponent++;
    }
    return value;
}

int decimal_rescale(struct decimal value, int exponent, int64_t *out)
{
    if (value.mantissa == 0) {
        *out = 0;
        return 0;
    }
    int64_t shift = (int64_t)value.exponent - exponent;
    if (shift > DIGITS_MAX || shift < -DIGITS_MAX) {
        return -1;
    }
    if (shift >= 0) {
        return __builtin_mul_overflow(value.mantissa, number_powers[shift], out) ? -1 : 0;
    }
    if (value.mantissa % number_powers[-shift] != 0) {
        return -1;
    }
    *out = value.mantissa / number_powers[-shift];
    return 0;
}

/* Takes the trailing zeros off a number that is not 0; in 64 bits as soon as it fits, since wide
 * divisions are slow. */
static __int128 strip_zeros(__int128 number, int *exponent)
{
    while ((number > INT64_MAX || number < INT64_MIN) && number % 10 == 0) {
        number /= 10;
        (*exponent)++;
    }
    if (number > INT64_MAX || number < INT64_MIN) {
        return number;
    }
    int64_t narrow = (int64_t)number;
    while (narrow % 10 == 0) {
        narrow /= 10;
        (*exponent)++;
    }
    return narrow;
}

/* A wide sum as a decimal; -1 where that needs more than 18 digits. */
static int fit_sum(__int128 mantissa, int exponent, struct decimal *out)
{
    if (mantissa == 0) {
        *out = (struct decimal){0, 0};
        return 0;
    }
    mantissa = strip_zeros(mantissa, &exponent);
    if (mantissa >= MANTISSA_LIMIT || mantissa <= -MANTISSA_LIMIT || exponent < -EXPONENT_MAX ||
        exponent > EXPONENT_MAX) {
        return -1;
    }
    *out = (struct decimal){(int64_t)mantissa, (int16_t)exponent};
    return 0;
}

/* *mantissa * 10^places; -1 where 128 bits do not hold it. */
static int scale_up(__int128 *mantissa, int places)
{
    while (places > 0) {
        int step = places > DIGITS_MAX ? DIGITS_MAX : places;
        if (__builtin_mul_overflow(*mantissa, (__int128)number_powers[step], mantissa)) {
            return -1;
        }
        places -= step;
    }
    return 0;
}

/* An overflow of 128 bits is always a result of more than 18 digits: both addends are in normal
 * form, so the last digit of the finer one stays, and it is below 2^126. */
int decimal_multiply_add(int64_t count, struct decimal step, struct decimal offset,
                         struct decimal *out)
{
    __int128 product = (__int128)count * step.mantissa;
    int exponent = step.exponent;
    if (offset.mantissa == 0) {
        return fit_sum(product, exponent, out);
    }
    if (product == 0) {
        return fit_sum(offset.mantissa, offset.exponent, out);
    }
    product = strip_zeros(product, &exponent);
    struct decimal added = decimal_normal(offset);
    __int128 other = added.mantissa;
    if (exponent > added.exponent) {
        if (scale_up(&product, exponent - added.exponent)) {
            return -1;
        }
        exponent = added.exponent;
    } else if (scale_up(&other, added.exponent - exponent)) {
        return -1;
    }
    if (__builtin_add_overflow(product, other, &product)) {
        return -1;
    }
    return fit_sum(product, exponent, out);
}

/* One correctly rounded operation on two exact doubles is exact enough to be the nearest double;
 * the rest goes through the C library, with no point in the text so that no locale matters. */
double decimal_to_double(struct decimal value)
{
    if (value.mantissa >= -DOUBLE_EXACT_INTEGER && value.mantissa <= DOUBLE_EXACT_INTEGER) {
        if (value.exponent >= 0 && value.exponent <= EXACT_POWER_MAX) {
            return (double)value.mantissa * exact_powers[value.exponent];
        }
        if (value.exponent < 0 && value.exponent >= -EXACT_POWER_MAX) {
            return (double)value.mantissa / exact_powers[-value.exponent];
        }
    }
    char text[DECIMAL_TEXT_SIZE];
    (void)snprintf(text, sizeof text, "%llde%d", (long long)value.mantissa, value.exponent);
    return strtod(text, NULL);
}

int decimal_from_double(double value, struct decimal *out)
{
    if (!isfinite(value)) {
        return -1;
    }
    for (int digits = 15; digits <= 17; digits++) {
        char text[DECIMAL_TEXT_SIZE];
        int length = snprintf(text, sizeof text, "%.*g", digits, value);
        if (length > 0 && strtod(text, NULL) == value) {
            return decimal_parse(text, (size_t)length, out, NULL);
        }
    }
    return -1;
}
