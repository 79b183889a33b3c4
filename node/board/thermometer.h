/* A one-wire thermometer, one slot at a time so that no sample waits for it. Freestanding.
 * Must never pass on a value whose checksum is wrong, nor the one that means "not converted". */
#ifndef ROOMWAKE_NODE_BOARD_THERMOMETER_H
#define ROOMWAKE_NODE_BOARD_THERMOMETER_H

#include <stdbool.h>
#include <stdint.h>

#include "node/board/report.h"

#define THERMOMETER_BYTES 9u

/* Caller-owned, all zero to begin with. */
struct thermometer {
    uint8_t stage;
    uint8_t step;
    bool seen;           /* it answered at least once */
    uint32_t started_at; /* tick of the conversion's start */
    uint8_t bytes[THERMOMETER_BYTES];
};

/* Does at most one slot. true: *value is ready, read at *tick. One value a second. */
bool thermometer_turn(struct thermometer *thermometer, uint32_t now, uint32_t *tick,
                      struct report_temperature *value);

/* CRC-8 with polynomial x^8 + x^5 + x^4 + 1, least significant bit first. */
uint8_t thermometer_crc(const uint8_t *bytes, uint8_t length);

#endif
