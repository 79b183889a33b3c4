/* Every reading of a clock goes through this table, so that a test can give a process an offset,
 * a drift and a jump. Must never be bypassed by a direct call of clock_gettime elsewhere. */
#ifndef ROOMWAKE_COMMON_CLOCK_H
#define ROOMWAKE_COMMON_CLOCK_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define NS_PER_S INT64_C(1000000000)
#define PS_PER_S INT64_C(1000000000000)

/* mono_ns: nanoseconds since an arbitrary start, never steps back, not slewed
 * (CLOCK_MONOTONIC_RAW). That clock stands still while the machine is suspended: what the kernel
 * says that it slept is added, which on many boards is good to a second only. real_ns: nanoseconds
 * since 1970-01-01T00:00:00Z as this machine believes; may step. slept_ns: what mono_ns has in it
 * of sleep, as of now; NULL: it never sleeps. */
struct clock_source {
    int64_t (*mono_ns)(void *context);
    int64_t (*real_ns)(void *context);
    void *context;
    int64_t (*slept_ns)(void *context);
    int hurry; /* how many times as fast as the machine's clocks it may run; 0 is once */
};

/* Machine milliseconds, rounded up, for `left_ns` of this clock: what timers are set to. */
int64_t clock_wait_ms(const struct clock_source *clock, int64_t left_ns);

/* The machine's clocks as they are. */
struct clock_source clock_system(void);
/* A rise says that the machine was suspended: fits from before it hold no more. */
int64_t clock_slept_ns(const struct clock_source *clock);

/* Processor time that the calling thread has used, for what is told of a program itself. */
int64_t clock_thread_used_ns(void);

#define CLOCK_JUMPS_MOST 4

/* A step of the wall clock; after_ns is counted from clock_skewed(). */
struct clock_jump {
    int64_t by_ns;
    int64_t after_ns;
};

/* A skewed view of the machine's clocks: offset on both, rate error on both, jumps of the wall
 * clock only, and sleep. Caller-owned; must outlive the clock_source made from it. */
struct clock_skew {
    int64_t offset_ns;
    int64_t rate_ppb;
    struct clock_jump jumps[CLOCK_JUMPS_MOST];
    size_t jump_count;
    /* A process that was stopped for longer than this finds that the machine slept: mono_ns went on
     * by the true time and the error. 0: it never sleeps. */
    int64_t sleep_over_ns;
    int64_t sleep_error_ns;
    int64_t start_mono_ns;
    int64_t start_real_ns;
    int64_t _Atomic last_ns; /* of the machine's clock, at the last reading */
    int64_t _Atomic slept_ns;
    int64_t _Atomic sleeps;
    const struct clock_page *page; /* what is skewed instead of the machine's clocks; or NULL */
};

struct clock_source clock_skewed(struct clock_skew *skew);

/* Reads "offset_s=0.25,rate_ppm=-40,jump_s=3600,jump_after_s=10,sleep_over_s=3,sleep_error_s=0.2"
 * (each part optional, any order; further jump_s and jump_after_s, in this order, are further
 * jumps), and "page=FILE" for a clock that a simulation keeps (clock_page.h). The programs read it
 * from the environment's ROOMWAKE_CLOCK. */
int clock_skew_parse(const char *text, struct clock_skew *skew, struct error *error);

/* clock_system(), or clock_skewed(*skew) where ROOMWAKE_CLOCK is set. -1 where that is malformed.
 */
int clock_from_environment(struct clock_skew *skew, struct clock_source *clock,
                           struct error *error);

#endif
