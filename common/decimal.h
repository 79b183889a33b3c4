/* A decimal number kept exactly as it was written: mantissa times a power of ten.
 * Must never round: what does not fit is an error. Used for steps, CSV and SenML values. */
#ifndef ROOMWAKE_COMMON_DECIMAL_H
#define ROOMWAKE_COMMON_DECIMAL_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define DECIMAL_TEXT_SIZE 48

/* value = mantissa * 10^exponent. Normal form: no trailing zero in the mantissa, 0 is {0, 0}. */
struct decimal {
    int64_t mantissa;
    int16_t exponent;
};

/* Reads [-+]digits[.digits][(e|E)[-+]digits], all of `length` bytes; result in normal form.
 * ERROR_FORMAT where it is no number, ERROR_RANGE where it needs more than 18 digits or an
 * exponent beyond +-300. */
int decimal_parse(const char *text, size_t length, struct decimal *out, struct error *error);

struct decimal decimal_normal(struct decimal value);

/* The shortest plain text ("0.0000487" down to 1e-9, else "4.87e-12"); parses back to the same. */
void decimal_format(struct decimal value, char text[DECIMAL_TEXT_SIZE]);

/* mantissa * 10^(value.exponent - exponent) into *out; -1 without an error text where that is not
 * a whole number or does not fit int64. */
int decimal_rescale(struct decimal value, int exponent, int64_t *out);

/* count * step + offset, exactly. -1 where it does not fit 18 digits. */
int decimal_multiply_add(int64_t count, struct decimal step, struct decimal offset,
                         struct decimal *out);

double decimal_to_double(struct decimal value);
/* The shortest decimal that reads back as the same double; -1 for NaN, infinities and what
 * decimal_parse would refuse (beyond 1e+-300). */
int decimal_from_double(double value, struct decimal *out);

#endif
