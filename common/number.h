/* A decimal number's text taken apart, for those who need each digit exactly.
 * Must never convert: what the digits are worth is the caller's. Used by decimal and timefmt. */
#ifndef ROOMWAKE_COMMON_NUMBER_H
#define ROOMWAKE_COMMON_NUMBER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define NUMBER_POWER_MOST 18

/* 10^0 .. 10^18 */
extern const int64_t number_powers[NUMBER_POWER_MOST + 1];

/* Digits are text[start] to before text[end], with at most one point among them. */
struct number_parts {
    bool negative;
    size_t start;
    size_t end;
    size_t whole;     /* digits before the point */
    size_t places;    /* digits after it */
    int64_t exponent; /* as written; held to what a text can be long */
};

/* [-+]digits[.digits][(e|E)[-+]digits], all of `length` bytes; false where it is no number. */
bool number_take_apart(const char *text, size_t length, struct number_parts *parts);

#endif
