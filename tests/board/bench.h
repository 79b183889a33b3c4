/* A board in a simulator: the firmware's own image, its pins driven with what is known to be true.
 * Must never look into the firmware: what it knows comes from the pins and the line. Used by the
 * programs of this folder. */
#ifndef ROOMWAKE_TESTS_BOARD_BENCH_H
#define ROOMWAKE_TESTS_BOARD_BENCH_H

#include <simavr/sim_avr.h>
#include <stdbool.h>
#include <stdint.h>

#define BENCH_HZ 16000000
#define BENCH_TICK_CYCLES 64
#define BENCH_LOG 4096u /* what was converted last: far longer than a frame waits */
#define BENCH_SENT 256u
#define BENCH_EDGES 64u

/* A conversion of the antenna. */
struct bench_conversion {
    uint64_t cycle;
    uint16_t counts;
    bool sample; /* the first of its millisecond */
};

struct bench_magnetic {
    uint64_t cycle;
    int16_t axis[3];
};

struct bench_edge {
    uint64_t cycle;
    bool level;
};

struct bench_wire {
    uint64_t fell_at;
    uint8_t state;
    uint8_t command_bits;
    uint16_t command;
    uint8_t bit; /* of the answer */
    uint8_t scratchpad[9];
    bool low;
};

struct bench {
    struct avr_t *avr;
    bool is_32u4;
    struct bench_conversion log[BENCH_LOG];
    uint64_t conversions;
    uint64_t sample_cycle; /* of the last sample */
    struct bench_magnetic magnetic[64];
    uint64_t magnetic_count;
    struct bench_edge edges[BENCH_EDGES];
    uint64_t edge_count;
    bool motion;           /* how the pin stands */
    uint8_t registers[16]; /* the magnetometer's */
    uint8_t register_at;
    bool register_told;
    uint8_t selected;
    bool magnetometer_gone;
    struct bench_wire wire;
    int16_t sixteenths; /* the thermometer's truth */
    uint16_t pot_mv;
    uint64_t spike_every; /* cycles; one conversion in so many is spiked */
    uint64_t spike_last;
    bool spike_sample;   /* the next sample is spiked, and nothing else */
    bool spike_between;  /* a conversion between two samples is */
    double swell_mv;     /* in ten seconds up and down */
    double hum_mv;       /* 50 Hz on the antenna */
    uint64_t pulse_from; /* cycles; between the two the antenna stands higher */
    uint64_t pulse_to;
    bool xon;
    uint64_t sent_cycles[BENCH_SENT]; /* when the host sent its last bytes; a ring */
    uint64_t sent;
    uint16_t lowest_stack;
    uint64_t slept; /* cycles */
    uint32_t flash_bytes;
    uint32_t static_bytes; /* of RAM */
    void *context;
    /* A byte that the board put on its line. */
    void (*on_byte)(void *context, uint8_t byte);
};

/* Loads the image. `chip` is "atmega328p" or "atmega32u4". -1: said why on standard error. */
int bench_start(struct bench *bench, const char *image, const char *chip);
/* Runs the chip up to this cycle; false: it crashed. */
bool bench_run(struct bench *bench, uint64_t until_cycle);
/* The host sends a byte. */
void bench_send(struct bench *bench, uint8_t byte);
void bench_set_motion(struct bench *bench, bool level);
/* Stops the sampling timer, as a fault would: only the watchdog helps. */
void bench_break_timer(struct bench *bench);
void bench_free(struct bench *bench);

/* What the simulator's converter makes of millivolts with the supply at 5 V. */
uint16_t bench_counts(uint32_t millivolts);

#endif
