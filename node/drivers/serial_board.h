/* What a board says, frame by frame, as samples on the host's clock. Pure but for the sink: times
 * and bytes in. Must never bridge a hole: what was lost on the line is told as such. Used by
 * serial.c alone. */
#ifndef ROOMWAKE_NODE_DRIVERS_SERIAL_BOARD_H
#define ROOMWAKE_NODE_DRIVERS_SERIAL_BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "common/tick_clock.h"
#include "node/board/report.h"
#include "node/drivers/driver.h"

enum board_channel {
    BOARD_ELECTRIC,
    BOARD_HIGH, /* the extremes of each frame, all conversions between the samples included */
    BOARD_LOW,
    BOARD_GAIN,
    BOARD_MOTION,
    BOARD_BATTERY,
    BOARD_TEMPERATURE,
    BOARD_MAGNETIC_X,
    BOARD_MAGNETIC_Y,
    BOARD_MAGNETIC_Z,
    BOARD_CHANNELS
};

#define BOARD_ABSENT SIZE_MAX

struct board_setup {
    size_t channels[BOARD_CHANNELS]; /* of the driver's list; BOARD_ABSENT: not wanted */
    int baud;
    int64_t resonator_ppb;
    int64_t latency_most_ns;
};

/* An evenly timed line through the board's ticks: followed as long as the clock agrees. */
struct board_line {
    bool known;
    uint32_t tick; /* of the line's first sample */
    int64_t t0_ns;
    int64_t period_ps;
    uint32_t next_tick; /* of the sample after the last one told */
    int64_t last_ns;
    bool any;
};

/* Caller-owned; fields are private. */
struct serial_board {
    struct board_setup setup;
    struct tick_clock clock;
    bool clocked;
    bool heard; /* a frame came */
    uint16_t seq;
    uint16_t start;
    bool started;
    uint32_t lost_frames; /* since the last samples */
    uint32_t bad_frames;
    uint64_t lost_all;
    struct board_line antenna;
    struct board_line magnetic;
    int64_t last_word_ns;              /* the newest frame's time */
    int64_t clock_sd_ns;               /* how far the last time made of ticks may be off */
    int64_t change_ns[BOARD_CHANNELS]; /* of the last change told */
    int32_t change_count[BOARD_CHANNELS];
    bool change_any[BOARD_CHANNELS];
    int64_t told_ns;
    int64_t asked_ns; /* a ping is out since; INT64_MIN: none */
    uint8_t ping;
    char fault[128];
    const char *magnetic_fault;    /* why there are no fields now; NULL: there are */
    const char *temperature_fault; /* why there are no temperatures now; NULL: there are */
    uint8_t lost_samples;          /* as the board counts those that found no room */
    bool overrun;                  /* some did since the last samples */
};

int serial_board_init(struct serial_board *board, const struct board_setup *setup, int64_t now_ns,
                      struct error *error);
/* One whole frame that came at came_ns. -1: it speaks another version. */
int serial_board_take(struct serial_board *board, const struct report *report, int64_t came_ns,
                      uint8_t frame_bytes, const struct driver_sink *sink, struct error *error);
/* Which of the board's sensors fails, in words; "" while all is well. */
void serial_board_note(const struct serial_board *board, char *note, size_t size);
/* Something on the line was no frame. */
void serial_board_bad(struct serial_board *board);
/* Fills a question for the board's time; call when it leaves, at now_ns. */
void serial_board_ask(struct serial_board *board, int64_t now_ns, struct report *question);

#endif
