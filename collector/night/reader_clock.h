/* What a night knows of its nodes' clocks: states with exchanges, fits, and what each block's times
 * rest on. Read-only: must never write or judge. Used by re-analysis and review. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_CLOCK_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_CLOCK_H

#include "collector/night/reader.h"
#include "common/clock_fit.h"

/* Each calls `each` for every row; a non-zero return stops and is returned. */

/* Every state as it came, by node and time; `json` is to be read by message_state_read. */
int night_each_state(struct night_reader *reader,
                     int (*each)(void *context, uint32_t node, int64_t time_ns, const char *json),
                     void *context, struct error *error);

/* Every clock fit that a frame with samples rests on, by node and the frames' time; `start_ns` and
 * `end_ns` are the site times of the samples that it stands for. */
struct night_fit_row {
    uint32_t node;
    int64_t start_ns;
    int64_t end_ns;
    struct clock_fit fit;
};
int night_each_fit(struct night_reader *reader,
                   int (*each)(void *context, const struct night_fit_row *row), void *context,
                   struct error *error);

/* The first sample of every block on both clocks; the samples are not read. Frames whose clock was
 * never known are left out. */
struct night_block_time {
    uint32_t node;
    uint64_t boot;
    int64_t node_t0_ns;
    int64_t t0_ns;
};
int night_each_block_time(struct night_reader *reader,
                          int (*each)(void *context, const struct night_block_time *time),
                          void *context, struct error *error);

#endif
