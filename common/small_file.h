/* A whole small file as text: configs, site files, plans.
 * Must never read more than it is told. Used wherever a file of a few pages is read at once. */
#ifndef ROOMWAKE_COMMON_SMALL_FILE_H
#define ROOMWAKE_COMMON_SMALL_FILE_H

#include <stddef.h>

#include "common/error.h"

/* *bytes is the caller's (free), with a zero after the `length` bytes of the file. ERROR_NOT_FOUND,
 * ERROR_IO, ERROR_MEMORY; ERROR_RANGE where it has more than `most`. Pipes are read too. */
int small_file_read(const char *path, size_t most, char **bytes, size_t *length,
                    struct error *error);

#endif
