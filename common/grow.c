/* Doubling, from a few items on.
 * Must never touch the list where memory is short. Called by grow.h's users. */
#include "common/grow.h"

#include <stdlib.h>

#define FIRST 16u

int grow_list(void **memory, size_t count, size_t *size, size_t each, const char *what,
              struct error *error)
{
    if (count < *size) {
        return 0;
    }
    size_t more = *size ? 2 * *size : FIRST;
    void *grown = realloc(*memory, more * each);
    if (!grown) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", what);
    }
    *memory = grown;
    *size = more;
    return 0;
}
