/* What every test program includes first: cmocka in its required order, and what it lacks.
 * Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_TEST_H
#define ROOMWAKE_TESTS_UNIT_TEST_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* cmocka 1.1.5 compares floats only as 32 bits. `tolerance` is absolute. */
#define assert_close(actual, expected, tolerance)                                                  \
    do {                                                                                           \
        double actual_ = (double)(actual);                                                         \
        double expected_ = (double)(expected);                                                     \
        double tolerance_ = (double)(tolerance);                                                   \
        if (!(fabs(actual_ - expected_) <= tolerance_)) {                                          \
            fail_msg("%s = %.17g, expected %.17g +- %g", #actual, actual_, expected_, tolerance_); \
        }                                                                                          \
    } while (0)

/* For numbers that may be negative, where assert_int_equal prints them oddly. */
#define assert_int64_equal(actual, expected)                                                       \
    do {                                                                                           \
        long long actual_ = (long long)(actual);                                                   \
        long long expected_ = (long long)(expected);                                               \
        if (actual_ != expected_) {                                                                \
            fail_msg("%s = %lld, expected %lld", #actual, actual_, expected_);                     \
        }                                                                                          \
    } while (0)

/* That a failed call filled the error and that its text names what it should. */
#define assert_error(error, expected_code, part)                                                   \
    do {                                                                                           \
        if ((error).code != (expected_code) || !strstr((error).text, (part))) {                    \
            fail_msg("error %d \"%s\", expected %d with \"%s\"", (int)(error).code, (error).text,  \
                     (int)(expected_code), (part));                                                \
        }                                                                                          \
    } while (0)

#endif
