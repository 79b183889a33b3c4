/* The firmware's loop, apart from any chip: what was sampled goes out as frames, commands come in.
 * No heap, nothing waits. Must never sound, nor change the gain, unless told to. */
#ifndef ROOMWAKE_NODE_BOARD_BOARD_H
#define ROOMWAKE_NODE_BOARD_BOARD_H

#include "node/board/frame.h"
#include "node/board/magnetometer.h"
#include "node/board/sample.h"
#include "node/board/thermometer.h"

#define COMMAND_BYTES_MAX 16u

/* Caller-owned; one a board. */
struct board {
    struct sampler sampler; /* the interrupts write here */
    struct frame_reader reader;
    uint8_t heard[COMMAND_BYTES_MAX];
    struct thermometer thermometer;
    struct magnetometer magnetometer;
    uint16_t seq;
    uint16_t start;
    uint8_t reset;
    uint8_t loudness;
    uint8_t gain; /* told step, or GAIN_BY_POT */
    uint8_t gain_now;
    uint32_t hello_due;
    uint32_t supply_due;
    uint32_t alive_at; /* a sample was last seen */
    struct report out; /* what is sent now, and its bytes: too large for the stack */
    uint8_t line[FRAME_LINE_MAX];
};

#define GAIN_BY_POT 255u

/* reset: bits of enum report_reset. start: a number that differs from start to start. */
void board_start(struct board *board, uint8_t reset, uint16_t start);
/* One turn of the loop. */
void board_turn(struct board *board);

#endif
