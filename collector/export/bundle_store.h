/* Where a bundle's files go: a folder or a tar file, which appears whole or not at all.
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
    struct whole whole; /* the tar file */
    char *folder;       /* the folder's name until it is whole */
    FILE *member;       /* what is being written */
    int64_t begin;      /* where it begins in the tar file */
    char name[BUNDLE_NAME_SIZE];
    struct text sums; /* what sha256sum -c reads */
};

int bundle_store_open(struct bundle_store *store, const char *path, const char *prefix,
                      int64_t time_s, bool replace, struct error *error);
/* The file to write; it stays the store's. */
int bundle_store_begin(struct bundle_store *store, const char *name, FILE **out,
                       struct error *error);
int bundle_store_end(struct bundle_store *store, struct error *error);
/* Writes SHA256SUMS, and gives the whole its name. Frees; on failure nothing is left. */
int bundle_store_close(struct bundle_store *store, struct error *error);
void bundle_store_abandon(struct bundle_store *store);

#endif
