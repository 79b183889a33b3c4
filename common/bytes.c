/* The byte cursors: fixed-width little-endian numbers, varints and zigzag.
 * Must never depend on the machine's byte order or read past an end.
 * Called by every codec. */
#include "common/bytes.h"

#include <string.h>

struct bytes_reader bytes_reader_of(const uint8_t *bytes, size_t length)
{
    return (struct bytes_reader){.bytes = bytes, .length = length};
}

size_t bytes_left(const struct bytes_reader *reader)
{
    return reader->failed ? 0 : reader->length - reader->position;
}

const uint8_t *bytes_read_run(struct bytes_reader *reader, size_t length)
{
    if (reader->failed || length > reader->length - reader->position) {
        reader->failed = true;
        return NULL;
    }
    const uint8_t *run = reader->bytes + reader->position;
    reader->position += length;
    return run;
}

static uint64_t read_fixed(struct bytes_reader *reader, size_t width)
{
    const uint8_t *run = bytes_read_run(reader, width);
    uint64_t value = 0;
    for (size_t i = 0; run && i < width; i++) {
        value |= (uint64_t)run[i] << (8 * i);
    }
    return value;
}

uint8_t bytes_read_u8(struct bytes_reader *reader)
{
    return (uint8_t)read_fixed(reader, 1);
}

uint16_t bytes_read_u16(struct bytes_reader *reader)
{
    return (uint16_t)read_fixed(reader, 2);
}

uint32_t bytes_read_u32(struct bytes_reader *reader)
{
    return (uint32_t)read_fixed(reader, 4);
}

uint64_t bytes_read_u64(struct bytes_reader *reader)
{
    return read_fixed(reader, 8);
}

int64_t bytes_read_i64(struct bytes_reader *reader)
{
    return (int64_t)read_fixed(reader, 8);
}

uint64_t bytes_read_varint(struct bytes_reader *reader)
{
    uint64_t value = 0;
    for (unsigned shift = 0; shift < 7 * BYTES_VARINT_MAX; shift += 7) {
        if (reader->failed || reader->position == reader->length) {
            break;
        }
        uint8_t octet = reader->bytes[reader->position++];
        if (shift == 63 && octet > 1) {
            break;
        }
        value |= (uint64_t)(octet & 0x7f) << shift;
        if (octet < 0x80) {
            if (octet == 0 && shift > 0) {
                break;
            }
            return value;
        }
    }
    reader->failed = true;
    return 0;
}

int64_t bytes_read_zigzag(struct bytes_reader *reader)
{
    uint64_t folded = bytes_read_varint(reader);
    return (int64_t)((folded >> 1) ^ (~(folded & 1) + 1));
}

struct bytes_writer bytes_writer_of(uint8_t *bytes, size_t size)
{
    return (struct bytes_writer){.bytes = bytes, .size = size};
}

void bytes_write_run(struct bytes_writer *writer, const void *bytes, size_t length)
{
    if (writer->failed || length > writer->size - writer->length) {
        writer->failed = true;
        return;
    }
    if (length > 0) {
        memcpy(writer->bytes + writer->length, bytes, length);
        writer->length += length;
    }
}

static void write_fixed(struct bytes_writer *writer, uint64_t value, size_t width)
{
    uint8_t octets[8];
    for (size_t i = 0; i < width; i++) {
        octets[i] = (uint8_t)(value >> (8 * i));
    }
    bytes_write_run(writer, octets, width);
}

void bytes_write_u8(struct bytes_writer *writer, uint8_t value)
{
    write_fixed(writer, value, 1);
}

void bytes_write_u16(struct bytes_writer *writer, uint16_t value)
{
    write_fixed(writer, value, 2);
}

void bytes_write_u32(struct bytes_writer *writer, uint32_t value)
{
    write_fixed(writer, value, 4);
}

void bytes_write_u64(struct bytes_writer *writer, uint64_t value)
{
    write_fixed(writer, value, 8);
}

void bytes_write_i64(struct bytes_writer *writer, int64_t value)
{
    write_fixed(writer, (uint64_t)value, 8);
}

void bytes_write_varint(struct bytes_writer *writer, uint64_t value)
{
    uint8_t octets[BYTES_VARINT_MAX];
    size_t length = 0;
    while (value >= 0x80) {
        octets[length++] = (uint8_t)(value | 0x80);
        value >>= 7;
    }
    octets[length++] = (uint8_t)value;
    bytes_write_run(writer, octets, length);
}

void bytes_write_zigzag(struct bytes_writer *writer, int64_t value)
{
    uint64_t sign = value < 0 ? UINT64_MAX : 0;
    bytes_write_varint(writer, ((uint64_t)value << 1) ^ sign);
}
