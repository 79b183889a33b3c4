/* All that a board says, held against what its pins were given. Must never pass where a sample
 * differs or a tick is off. Used by the programs of this folder. */
#ifndef ROOMWAKE_TESTS_BOARD_TRUTH_H
#define ROOMWAKE_TESTS_BOARD_TRUTH_H

#include "node/board/report.h"
#include "tests/board/bench.h"

#define MILLISECOND ((uint64_t)BENCH_HZ / 1000)

struct truth {
    struct bench bench;
    struct frame_reader reader;
    uint8_t bytes[FRAME_LINE_MAX];
    int64_t origin; /* cycle of tick 0; known from the first sample */
    bool begun;
    uint16_t seq;
    uint32_t next_tick;
    uint64_t frames, samples, glances_kept, edges, fields, temperatures, supplies, hellos, answers;
    uint64_t bytes_told;
    int64_t latest; /* cycles from a tick to its conversion's start, at the most */
    int64_t edge_latest;
    uint64_t late[5]; /* starts by lateness: exact, a quarter tick, half, one, more */
    int faults;
    uint8_t reset;
    bool field_away; /* the magnetometer was off its bus */
};

/* Caller-owned, all zero but what the bench is told; its on_byte must call truth_take. */
void truth_begin(struct truth *truth);
/* A byte that the board put on its line. */
void truth_take(struct truth *truth, uint8_t byte);
/* Counts a fault and tells the first few on standard output. */
void truth_fault(struct truth *truth, const char *what, long long got, long long expected);
/* Frames, lateness and the line; then size, stack and cycles, which may not exceed half. */
void truth_print(struct truth *truth, const char *name);

#endif
