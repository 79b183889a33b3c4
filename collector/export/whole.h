/* A file that appears whole and on disk, or not at all: it has no name until then.
 * Must never leave a part behind, nor replace a file that nobody said to replace. Used by the
 * exports, the report and the bundle. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_WHOLE_H
#define ROOMWAKE_COLLECTOR_EXPORT_WHOLE_H

#include <stdbool.h>
#include <stdio.h>

#include "common/error.h"

struct whole {
    FILE *out; /* write here; it can be sought in unless the path is a pipe or a device */
    const char *path;
    char *part; /* the name that it has until it is whole; NULL: none */
    bool plain; /* false: a pipe or a device, written as it is */
    bool replace;
};

/* ERROR_BUSY where `path` is there and may not be replaced. `path` must outlive the file. */
int whole_open(struct whole *whole, const char *path, bool replace, struct error *error);
/* Brings it to disk and gives it its name; on failure there is no file. */
int whole_close(struct whole *whole, struct error *error);
void whole_abandon(struct whole *whole);

/* ERROR_FULL or ERROR_IO with errno's text after the path; -1. */
int whole_fail(const char *path, struct error *error);
/* -1 where anything that was written to `out` so far failed. */
int whole_flush(FILE *out, const char *path, struct error *error);
/* So that the names in the folder that `path` lies in outlive a power cut. */
int whole_sync_folder(const char *path, struct error *error);

#endif
