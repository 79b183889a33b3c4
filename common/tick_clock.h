/* A board that has a tick counter and no clock, fitted to its host's clock by when its words come.
 * Must never read a clock or a line: counts and times in, times out.
 * Used by the serial driver. Line in tick_line.c. */
#ifndef ROOMWAKE_COMMON_TICK_CLOCK_H
#define ROOMWAKE_COMMON_TICK_CLOCK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/clock_fit.h"
#include "common/error.h"

struct tick_clock_setup {
    int64_t tick_hz;  /* what the counter is said to count, e.g. 1000000 */
    int counter_bits; /* 16 to 64; a turn of the counter must take 2 s at least */
    /* How far the counter's rate may be off: 100000 (100 ppm) for a crystal, 5000000 for a ceramic
     * resonator (common practice, no source). */
    int64_t tolerance_ppb;
    /* The most that even the quickest word waits on its way besides its time on the line, which the
     * caller takes off: e.g. 2 ms for a plain port, 16 ms for an adapter that gathers (common
     * practice, no source). What one-way words can't tell, and so in the uncertainty. */
    int64_t latency_most_ns;
};

#define TICK_WINDOWS 64

/* The word that waited least of a short while. */
struct tick_window {
    int64_t tick_ns;      /* the counter, without its turns, in its own nanoseconds */
    int64_t host_ns;      /* when its word came */
    int64_t round_ns;     /* the least from question to answer; what setup says where none was */
    int64_t from_host_ns; /* when the window began */
};

/* Caller-owned; fields are private. */
struct tick_clock {
    struct tick_clock_setup setup;
    struct tick_window windows[TICK_WINDOWS]; /* the last one is still open */
    size_t count;
    int64_t window_ns;
    bool begun;
    uint64_t last_raw;    /* of the newest word */
    uint64_t ticks;       /* and without turns, counted from the first word */
    int late;             /* windows in a row that came far later than the line says */
    struct clock_fit fit; /* from tick_ns to the host's clock */
    bool stamped;
    uint64_t stamped_ticks;
    int64_t stamped_ns;
};

/* ERROR_RANGE for a setup that can't be. */
int tick_clock_init(struct tick_clock *clock, const struct tick_clock_setup *setup,
                    struct error *error);

/* TICK_RESTARTED: the counter began anew (a reset, or it stood still): what was stamped stands,
 * what comes now is on a new line, and the caller begins a new block. */
enum tick_verdict { TICK_TAKEN, TICK_RESTARTED };

/* `ticks` is the counter when the word was made, as sent; came_ns the host's clock (the node's
 * mono_ns) when it was there, less the word's time on the line (octets * 10 / baud). Each word, in
 * the order they came. */
enum tick_verdict tick_clock_feed(struct tick_clock *clock, uint64_t ticks, int64_t came_ns);
/* A word that answers a question which left at asked_ns: bounds the wait from both sides. */
enum tick_verdict tick_clock_feed_answer(struct tick_clock *clock, int64_t asked_ns, uint64_t ticks,
                                         int64_t came_ns);

/* The host's time of a count within half a turn of the newest word's, and its uncertainty, one
 * sigma, as of clock_fit. A count later than the one asked before never gets an earlier or the same
 * time. -1 before the first word, and for a count more than a day away. */
int tick_clock_at(struct tick_clock *clock, uint64_t ticks, int64_t *host_ns,
                  int64_t *uncertainty_ns);
/* How far the board's counter is off, in 1e-12 of the host's clock; positive: it is slow. */
int64_t tick_clock_rate_ppt(const struct tick_clock *clock);

/* For tick_clock.c: the line through the windows, as of the newest of `count`. */
void tick_line_fit(const struct tick_window *windows, size_t count, int64_t tolerance_ppb,
                   struct clock_fit *fit);

#endif
