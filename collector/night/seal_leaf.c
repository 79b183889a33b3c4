/* A row as bytes in one spelling only, hashed as a leaf.
 * Must never let two different rows have the same bytes. Called by the seal's files. */
#include "collector/night/seal_leaf.h"

#include <string.h>

#include "common/bytes.h"

enum { KIND_NULL, KIND_INTEGER, KIND_REAL, KIND_TEXT, KIND_BLOB };

static void put(struct seal_leaf *leaf, const void *bytes, size_t length)
{
    if (length > sizeof leaf->buffer - leaf->waiting) {
        (void)crypto_hash_sha256_update(&leaf->leaf.hash, leaf->buffer, leaf->waiting);
        leaf->waiting = 0;
    }
    if (length > sizeof leaf->buffer) {
        (void)crypto_hash_sha256_update(&leaf->leaf.hash, bytes, length);
    } else if (length > 0) {
        memcpy(leaf->buffer + leaf->waiting, bytes, length);
        leaf->waiting += length;
    }
}

static void put_u32(struct seal_leaf *leaf, uint32_t value)
{
    uint8_t bytes[sizeof value];
    struct bytes_writer writer = bytes_writer_of(bytes, sizeof bytes);
    bytes_write_u32(&writer, value);
    put(leaf, bytes, sizeof bytes);
}

static void put_number(struct seal_leaf *leaf, uint8_t kind, uint64_t value)
{
    uint8_t bytes[1 + sizeof value];
    struct bytes_writer writer = bytes_writer_of(bytes, sizeof bytes);
    bytes_write_u8(&writer, kind);
    bytes_write_u64(&writer, value);
    put(leaf, bytes, sizeof bytes);
}

static void put_run(struct seal_leaf *leaf, uint8_t kind, const void *bytes, size_t length)
{
    put(leaf, &kind, 1);
    put_u32(leaf, (uint32_t)length); /* SQLite holds no longer ones */
    put(leaf, bytes, length);
}

void seal_leaf_begin(struct seal_leaf *leaf, const char *name, uint32_t columns)
{
    size_t length = strlen(name);
    leaf->waiting = 0;
    merkle_leaf_begin(&leaf->leaf);
    put_u32(leaf, (uint32_t)length);
    put(leaf, name, length);
    put_u32(leaf, columns);
}

void seal_leaf_int(struct seal_leaf *leaf, int64_t value)
{
    put_number(leaf, KIND_INTEGER, (uint64_t)value);
}

static void put_real(struct seal_leaf *leaf, double value)
{
    uint64_t bits = 0;
    _Static_assert(sizeof bits == sizeof value, "IEEE 754");
    memcpy(&bits, &value, sizeof bits);
    put_number(leaf, KIND_REAL, bits);
}

void seal_leaf_text(struct seal_leaf *leaf, const char *text)
{
    put_run(leaf, KIND_TEXT, text, strlen(text));
}

void seal_leaf_blob(struct seal_leaf *leaf, const void *bytes, size_t length)
{
    put_run(leaf, KIND_BLOB, bytes, length);
}

void seal_leaf_end(struct seal_leaf *leaf, uint8_t hash[MERKLE_HASH_SIZE])
{
    (void)crypto_hash_sha256_update(&leaf->leaf.hash, leaf->buffer, leaf->waiting);
    merkle_leaf_end(&leaf->leaf, hash);
}

static void put_column(struct seal_leaf *leaf, sqlite3_stmt *row, int column)
{
    static const uint8_t null = KIND_NULL;
    switch (sqlite3_column_type(row, column)) {
    case SQLITE_INTEGER:
        seal_leaf_int(leaf, sqlite3_column_int64(row, column));
        break;
    case SQLITE_FLOAT:
        put_real(leaf, sqlite3_column_double(row, column));
        break;
    case SQLITE_TEXT: {
        /* The bytes are asked for before their number, as SQLite wants it. */
        const void *text = sqlite3_column_text(row, column);
        put_run(leaf, KIND_TEXT, text, (size_t)sqlite3_column_bytes(row, column));
        break;
    }
    case SQLITE_BLOB: {
        const void *blob = sqlite3_column_blob(row, column);
        put_run(leaf, KIND_BLOB, blob, (size_t)sqlite3_column_bytes(row, column));
        break;
    }
    default:
        put(leaf, &null, 1);
        break;
    }
}

void seal_leaf_row(const char *name, sqlite3_stmt *row, int first, uint8_t hash[MERKLE_HASH_SIZE])
{
    struct seal_leaf leaf;
    int columns = sqlite3_column_count(row);
    seal_leaf_begin(&leaf, name, (uint32_t)(columns - first));
    for (int column = first; column < columns; column++) {
        put_column(&leaf, row, column);
    }
    seal_leaf_end(&leaf, hash);
}
