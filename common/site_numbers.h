/* The few numbers of a site file: names, bounds and what holds where none is told.
 * Must never be read outside the site files. */
#ifndef ROOMWAKE_COMMON_SITE_NUMBERS_H
#define ROOMWAKE_COMMON_SITE_NUMBERS_H

#include <stddef.h>

struct site_number {
    const char *name;
    size_t offset; /* of the double in struct site */
    double low;
    double high;
    double fallback;
};

#define SITE_NUMBER_COUNT 5

extern const struct site_number site_numbers[SITE_NUMBER_COUNT];

#endif
