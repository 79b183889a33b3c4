/* What a board and its host say to each other, one frame each: little-endian, fixed places.
 * Freestanding. Must never hold a pointer into a frame: values are copied out.
 *
 * Every frame starts with kind (1 byte), seq (2, counts all frames of the board and wraps) and tick
 * (4: when it was, counted by the board's timer since it started; wraps). */
#ifndef ROOMWAKE_NODE_BOARD_REPORT_H
#define ROOMWAKE_NODE_BOARD_REPORT_H

#include <stdbool.h>
#include <stdint.h>

#include "node/board/frame.h"

#define REPORT_VERSION 1u
#define REPORT_BATCH 32u         /* samples in a frame */
#define REPORT_SAMPLE_TICKS 250u /* 4 us each: 1 kHz */
#define REPORT_TICK_HZ 250000u

enum report_kind {
    REPORT_HELLO = 1,
    REPORT_SAMPLES = 2,
    REPORT_EDGE = 3,
    REPORT_MAGNETIC = 4,
    REPORT_TEMPERATURE = 5,
    REPORT_SUPPLY = 6,
    REPORT_ANSWER = 7,
    REPORT_COMMAND = 16, /* host to board; seq and tick are 0 */
};

enum report_fitted { FITTED_MAGNETOMETER = 1, FITTED_THERMOMETER = 2 };

/* As the chip's reset register says: bits of REPORT_RESET_*. */
enum report_reset { RESET_POWER = 1, RESET_PIN = 2, RESET_BROWN_OUT = 4, RESET_WATCHDOG = 8 };

/* Sent at the start, every two seconds, and when asked. */
struct report_hello {
    uint8_t version;
    uint8_t reset;
    uint8_t fitted;
    uint8_t magnetometer; /* enum magnetometer_part; 0: none */
    uint16_t start;       /* drawn at the board's start: a new one says that it started again */
    uint32_t tick_hz;
    uint16_t sample_ticks;
    uint16_t magnetic_ticks;
};

/* The antenna. The extremes are over all conversions since the last frame, those between the
 * samples too; `_at` is in ticks since the first sample. */
struct report_samples {
    uint8_t lost; /* samples that found no room, since the board started; wraps */
    uint8_t gain; /* step 0 to 7 */
    bool motion;  /* how the pin stands when the frame is made: an edge may have been lost */
    uint8_t count;
    uint16_t values[REPORT_BATCH]; /* 0 to 1023 */
    uint16_t high;
    uint16_t high_at;
    uint16_t low;
    uint16_t low_at;
};

struct report_edge {
    bool level;
    uint8_t lost; /* edges that found no room, since the board started; wraps */
};

enum report_magnetic_status { MAGNETIC_GOOD = 0, MAGNETIC_SATURATED = 1, MAGNETIC_NO_ANSWER = 2 };

struct report_magnetic {
    uint8_t status;
    int16_t axis[3];
};

enum report_temperature_status {
    TEMPERATURE_GOOD = 0,
    TEMPERATURE_ABSENT = 1,
    TEMPERATURE_BAD_CRC = 2,
    TEMPERATURE_NOT_CONVERTED = 3,
};

struct report_temperature {
    uint8_t status;
    int16_t sixteenths; /* of a degree Celsius */
};

/* The supply: the converter's reading of the chip's 1.1 V reference against it. */
struct report_supply {
    uint16_t reference_counts;
    uint16_t gain_counts; /* the pot that is ganged with the gain, 0 to 1023 */
};

struct report_answer {
    uint8_t command;
    uint8_t value;
};

enum report_command {
    COMMAND_PING = 1,  /* the answer's tick is when the command's last byte came */
    COMMAND_SOUND = 2, /* value: loudness, 0 off */
    COMMAND_GAIN = 3,  /* value: step 0 to 7; 255: as the pot stands */
    COMMAND_HELLO = 4,
};

struct report {
    uint8_t kind;
    uint16_t seq;
    uint32_t tick;
    union {
        struct report_hello hello;
        struct report_samples samples;
        struct report_edge edge;
        struct report_magnetic magnetic;
        struct report_temperature temperature;
        struct report_supply supply;
        struct report_answer answer; /* also of REPORT_COMMAND */
    } as;
};

/* Into `frame` (without checksum); returns its length. */
uint8_t report_pack(const struct report *report, uint8_t frame[FRAME_BYTES_MAX]);
/* false: not a frame of this version, or not of its kind's length. */
bool report_unpack(const uint8_t *frame, uint8_t length, struct report *report);

#endif
