/* COBS with a CRC-16: any byte may be lost or flipped, the next zero starts afresh.
 * Must never write beyond its buffers, whatever comes over the line. Called by board.c and by the
 * serial driver. */
#include "node/board/frame.h"

#define CRC_START 0xffffu
#define CRC_POLYNOMIAL 0x1021u

uint16_t frame_crc(const uint8_t *bytes, uint8_t length)
{
    uint16_t crc = CRC_START;
    for (uint8_t i = 0; i < length; i++) {
        crc = (uint16_t)(crc ^ (uint16_t)((uint16_t)bytes[i] << 8));
        for (uint8_t bit = 0; bit < 8; bit++) {
            bool high = (crc & 0x8000u) != 0;
            crc = (uint16_t)(crc << 1);
            crc = high ? (uint16_t)(crc ^ CRC_POLYNOMIAL) : crc;
        }
    }
    return crc;
}

uint8_t frame_encode(uint8_t line[FRAME_LINE_MAX], uint8_t length)
{
    if (length > FRAME_BYTES_MAX) {
        return 0;
    }
    uint16_t crc = frame_crc(line + 1, length);
    uint8_t end = (uint8_t)(length + 1u + FRAME_CRC_BYTES);
    line[end - 2u] = (uint8_t)crc;
    line[end - 1u] = (uint8_t)(crc >> 8);
    uint8_t code_at = 0;
    for (uint8_t i = 1; i < end; i++) {
        if (line[i] == 0) {
            line[code_at] = (uint8_t)(i - code_at);
            code_at = i;
        }
    }
    line[code_at] = (uint8_t)(end - code_at);
    line[end] = 0;
    return (uint8_t)(end + 1u);
}

static enum frame_event end_of_frame(struct frame_reader *reader)
{
    bool begun = reader->begun;
    bool good = !reader->broken && reader->code == 0 && reader->length > FRAME_CRC_BYTES;
    if (good) {
        uint8_t length = (uint8_t)(reader->length - FRAME_CRC_BYTES);
        uint16_t told = (uint16_t)(reader->bytes[length] | reader->bytes[length + 1u] << 8);
        good = frame_crc(reader->bytes, length) == told;
        reader->length = length;
    }
    reader->begun = false;
    if (!begun) {
        return FRAME_NONE; /* two zeros in a row say nothing */
    }
    return good ? FRAME_WHOLE : FRAME_BAD;
}

static void put_byte(struct frame_reader *reader, uint8_t byte)
{
    if (reader->length == reader->size) {
        reader->broken = true;
        return;
    }
    reader->bytes[reader->length++] = byte;
}

enum frame_event frame_put(struct frame_reader *reader, uint8_t byte)
{
    if (byte == 0) {
        return end_of_frame(reader);
    }
    if (!reader->begun) {
        reader->begun = true;
        reader->broken = false;
        reader->length = 0;
        reader->code = (uint8_t)(byte - 1u);
        reader->fill = byte != 0xffu;
        return FRAME_NONE;
    }
    if (reader->code > 0) {
        reader->code--;
        put_byte(reader, byte);
        return FRAME_NONE;
    }
    if (reader->fill) {
        put_byte(reader, 0);
    }
    reader->code = (uint8_t)(byte - 1u);
    reader->fill = byte != 0xffu;
    return FRAME_NONE;
}
