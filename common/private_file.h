/* Writes a file that holds secrets: whole or not at all, readable by its owner alone at any moment.
 * Must never leave half a file under its name. Used by enrolment and by a node that joins. */
#ifndef ROOMWAKE_COMMON_PRIVATE_FILE_H
#define ROOMWAKE_COMMON_PRIVATE_FILE_H

#include <stdbool.h>
#include <stddef.h>

#include "common/error.h"

/* Mode 0600, written aside, synced, put in place. `may_replace` false: ERROR_BUSY where there is
 * one already. */
int private_file_write(const char *path, const char *bytes, size_t length, bool may_replace,
                       struct error *error);

#endif
