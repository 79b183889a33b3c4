/* Where a bundle's files go: a folder or a tar file, which appears whole or not at all; or a tar
 * stream, for which each file is made in a scratch file first, since its size goes before it.
 * Must never be included outside bundle*.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_STORE_H
#define ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_STORE_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "collector/export/whole.h"
#include "common/error.h"
#include "common/text.h"

#define BUNDLE_NAME_SIZE 80

/* Start from bundle_store_open. */
struct bundle_store {
    const char *path;
    const char *prefix; /* the folder within the tar file */
    int64_t time_s;     /* of each file in the tar file */
    bool tar;
    FILE *stream;       /* where a stream goes; the caller's; NULL: it is no stream */
    FILE *scratch;      /* a stream's files, one after the other */
    struct whole whole; /* the tar file */
    char *folder;       /* the folder's name until it is whole */
    FILE *member;       /* what is being written */
    int64_t begin;      /* where it begins in the tar file */
    char name[BUNDLE_NAME_SIZE];
    struct text sums; /* what sha256sum -c reads */
};

int bundle_store_open(struct bundle_store *store, const char *path, const char *prefix,
                      int64_t time_s, bool replace, struct error *error);
/* Instead of open: to `out`. Takes `scratch` over. */
void bundle_store_stream(struct bundle_store *store, FILE *out, FILE *scratch, const char *prefix,
                         int64_t time_s);
/* The file to write; it stays the store's. */
int bundle_store_begin(struct bundle_store *store, const char *name, FILE **out,
                       struct error *error);
int bundle_store_end(struct bundle_store *store, struct error *error);
/* Writes SHA256SUMS, and gives the whole its name. Frees; on failure nothing is left. */
int bundle_store_close(struct bundle_store *store, struct error *error);
void bundle_store_abandon(struct bundle_store *store);

#endif
