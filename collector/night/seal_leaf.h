/* A row as bytes in one spelling only, hashed as a leaf: the table's name, the number of columns,
 * then each column's kind, length and value. Must never let two different rows have the same bytes.
 * Used by the seal's files.
 *
 * Little-endian: u32 length and the name, u32 columns, then per column an octet 0 NULL, 1 integer
 * (8 octets), 2 real (8 octets, IEEE 754), 3 text or 4 blob (u32 length and the bytes). */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_SEAL_LEAF_H
#define ROOMWAKE_COLLECTOR_NIGHT_SEAL_LEAF_H

#include <sqlite3.h>

#include "collector/night/merkle.h"

#define SEAL_LEAF_BUFFER 512

struct seal_leaf {
    struct merkle_leaf leaf;
    size_t waiting;
    uint8_t buffer[SEAL_LEAF_BUFFER];
};

void seal_leaf_begin(struct seal_leaf *leaf, const char *name, uint32_t columns);
void seal_leaf_int(struct seal_leaf *leaf, int64_t value);
void seal_leaf_text(struct seal_leaf *leaf, const char *text);
void seal_leaf_blob(struct seal_leaf *leaf, const void *bytes, size_t length);
void seal_leaf_end(struct seal_leaf *leaf, uint8_t hash[MERKLE_HASH_SIZE]);

/* The statement's row from column `first` on. */
void seal_leaf_row(const char *name, sqlite3_stmt *row, int first, uint8_t hash[MERKLE_HASH_SIZE]);

#endif
