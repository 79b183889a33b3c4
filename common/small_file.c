/* A buffer that doubles until the file's end.
 * Must never trust a size that the file system tells. Called by readers of configs and plans. */
#include "common/small_file.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST 65536u

static int fill(FILE *file, const char *path, size_t most, char **bytes, size_t *length,
                struct error *error)
{
    size_t size = most < FIRST ? most + 1 : FIRST;
    *length = 0;
    *bytes = malloc(size + 1);
    while (*bytes) {
        *length += fread(*bytes + *length, 1, size - *length, file);
        if (*length > most) {
            return error_set(error, ERROR_RANGE, "%.300s: over %zu bytes", path, most);
        }
        if (*length < size) {
            (*bytes)[*length] = '\0';
            return ferror(file) ? error_set(error, ERROR_IO, "%.300s: %s", path, strerror(errno))
                                : 0;
        }
        size *= 2;
        char *grown = realloc(*bytes, size + 1);
        if (!grown) {
            free(*bytes);
        }
        *bytes = grown;
    }
    return error_set(error, ERROR_MEMORY, "%.300s: out of memory", path);
}

int small_file_read(const char *path, size_t most, char **bytes, size_t *length,
                    struct error *error)
{
    FILE *file = fopen(path, "rbe");
    if (!file) {
        return error_set(error, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "%.300s: %s", path,
                         strerror(errno));
    }
    int result = fill(file, path, most, bytes, length, error);
    (void)fclose(file);
    if (result != 0) {
        free(*bytes);
        *bytes = NULL;
    }
    return result;
}
