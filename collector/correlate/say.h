/* Numbers and lists in words for the reasons.
 * Must never overrun: what does not fit is cut. Called by the causes. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SAY_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SAY_H

#include <stddef.h>
#include <stdint.h>

#define SAY_SIZE 32

/* "210 nT", "1.2 V", "21.3 Cel". */
void say_value(double value, const char *unit, char text[SAY_SIZE]);
/* "12 ms", "8.1 s". */
void say_span(int64_t ns, char text[SAY_SIZE]);
/* Appends to the text that is there. */
void say_add(char *text, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
