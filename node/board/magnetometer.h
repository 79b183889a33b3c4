/* A three-axis magnetometer on the I2C bus, of either of two common register layouts; none fitted
 * is fine. Freestanding. Must never average: one measurement, one report. */
#ifndef ROOMWAKE_NODE_BOARD_MAGNETOMETER_H
#define ROOMWAKE_NODE_BOARD_MAGNETOMETER_H

#include <stdbool.h>
#include <stdint.h>

#include "node/board/report.h"

/* 13 ms: hum of 50 and 60 Hz comes out at 26.9 and 16.9 Hz, away from 0 and from the upper end. */
#define MAGNETIC_TICKS (13u * REPORT_SAMPLE_TICKS)

enum magnetometer_part {
    MAGNETOMETER_NONE = 0,
    MAGNETOMETER_1E = 1, /* at 0x1e, says "H43": 1090 counts a gauss, measures when asked */
    MAGNETOMETER_0D = 2, /* at 0x0d, chip id 0xff: 12000 counts a gauss, runs at 200 Hz */
};

/* Caller-owned, all zero to begin with. */
struct magnetometer {
    uint8_t part;
    bool asked;
    uint32_t due;      /* the next measurement */
    uint32_t asked_at; /* tick of the one that is under way */
};

/* Looks which part is there and sets it up. */
void magnetometer_find(struct magnetometer *magnetometer, uint32_t now);
/* true: *value is ready, measured at *tick. */
bool magnetometer_turn(struct magnetometer *magnetometer, uint32_t now, uint32_t *tick,
                       struct report_magnetic *value);

#endif
