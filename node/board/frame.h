/* Frames on a serial line: bytes between zeros (COBS), each with a checksum. Freestanding: built
 * into the firmware and into the serial driver alike. Must never allocate, nor pass on a frame
 * whose checksum does not fit. */
#ifndef ROOMWAKE_NODE_BOARD_FRAME_H
#define ROOMWAKE_NODE_BOARD_FRAME_H

#include <stdbool.h>
#include <stdint.h>

/* Longest frame before stuffing, without its checksum. */
#define FRAME_BYTES_MAX 94u
#define FRAME_CRC_BYTES 2u
/* On the line: one code byte, as it is shorter than 254, the checksum, the closing zero. */
#define FRAME_LINE_MAX (FRAME_BYTES_MAX + FRAME_CRC_BYTES + 2u)

/* CRC-16 with polynomial 0x1021, start 0xffff, most significant bit first. */
uint16_t frame_crc(const uint8_t *bytes, uint8_t length);

/* The frame's `length` bytes lie at line + 1: puts the checksum behind them, stuffs all in place
 * and closes with a zero. Returns the bytes on the line; 0 where the frame is too long. */
uint8_t frame_encode(uint8_t line[FRAME_LINE_MAX], uint8_t length);

/* Takes a line apart byte by byte. Caller-owned; bytes and size are the caller's to set, the rest
 * is zero to begin with. */
struct frame_reader {
    uint8_t *bytes; /* room for a frame and its checksum */
    uint8_t size;
    uint8_t length;
    uint8_t code; /* bytes left until the next code byte */
    bool fill;    /* a zero stands where the code ran out */
    bool broken;  /* no frame any more until the next zero */
    bool begun;
};

enum frame_event {
    FRAME_NONE,  /* more bytes are needed */
    FRAME_WHOLE, /* bytes[0 .. length) without the checksum: valid until the next byte is put */
    FRAME_BAD,   /* something came between two zeros that was no frame */
};

enum frame_event frame_put(struct frame_reader *reader, uint8_t byte);

#endif
