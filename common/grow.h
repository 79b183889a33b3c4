/* A list that grows: room for one more, twice as much each time.
 * Must never lose what was there, also where memory is short. Called wherever a list has no bound
 * known beforehand. */
#ifndef ROOMWAKE_COMMON_GROW_H
#define ROOMWAKE_COMMON_GROW_H

#include <stddef.h>

#include "common/error.h"

/* *memory holds *size items of `each` bytes, `count` of them used; the caller owns it and frees it.
 * Afterwards count < *size. ERROR_MEMORY, told with `what`, leaves both as they were. */
int grow_list(void **memory, size_t count, size_t *size, size_t each, const char *what,
              struct error *error);

#endif
