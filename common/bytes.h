/* Bounded little-endian cursors over bytes: the only pointer arithmetic on messages.
 * Must never touch a byte outside what it was given; a failure sticks, so one check at the end
 * is enough. Used by the codecs of common, the spool and the night. */
#ifndef ROOMWAKE_COMMON_BYTES_H
#define ROOMWAKE_COMMON_BYTES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define BYTES_VARINT_MAX 10 /* octets of the longest varint */

/* Reads from bytes that the caller keeps. After a failure every read gives 0. */
struct bytes_reader {
    const uint8_t *bytes;
    size_t length;
    size_t position; /* at most length */
    bool failed;
};

struct bytes_reader bytes_reader_of(const uint8_t *bytes, size_t length);
size_t bytes_left(const struct bytes_reader *reader);
uint8_t bytes_read_u8(struct bytes_reader *reader);
uint16_t bytes_read_u16(struct bytes_reader *reader);
uint32_t bytes_read_u32(struct bytes_reader *reader);
uint64_t bytes_read_u64(struct bytes_reader *reader);
int64_t bytes_read_i64(struct bytes_reader *reader);
/* Seven bits an octet, lowest first. One number has one spelling: longer ones are a failure. */
uint64_t bytes_read_varint(struct bytes_reader *reader);
/* A varint of 0, -1, 1, -2, 2 ... */
int64_t bytes_read_zigzag(struct bytes_reader *reader);
/* The next `length` bytes in place, or NULL (and a failure) where there are fewer. */
const uint8_t *bytes_read_run(struct bytes_reader *reader, size_t length);

/* Writes into bytes that the caller keeps. After a failure every write does nothing. */
struct bytes_writer {
    uint8_t *bytes;
    size_t size;
    size_t length; /* written so far, at most size */
    bool failed;
};

struct bytes_writer bytes_writer_of(uint8_t *bytes, size_t size);
void bytes_write_u8(struct bytes_writer *writer, uint8_t value);
void bytes_write_u16(struct bytes_writer *writer, uint16_t value);
void bytes_write_u32(struct bytes_writer *writer, uint32_t value);
void bytes_write_u64(struct bytes_writer *writer, uint64_t value);
void bytes_write_i64(struct bytes_writer *writer, int64_t value);
void bytes_write_varint(struct bytes_writer *writer, uint64_t value);
void bytes_write_zigzag(struct bytes_writer *writer, int64_t value);
void bytes_write_run(struct bytes_writer *writer, const void *bytes, size_t length);

#endif
