/* Every reading of a clock goes through this table, so that a test can give a process an offset,
 * a drift and a jump. Must never be bypassed by a direct call of clock_gettime elsewhere. */
#ifndef ROOMWAKE_COMMON_CLOCK_H
#define ROOMWAKE_COMMON_CLOCK_H

#include <stdint.h>

#include "common/error.h"

#define NS_PER_S INT64_C(1000000000)
#define PS_PER_S INT64_C(1000000000000)

/* mono_ns: nanoseconds since an arbitrary start, never steps, not slewed (CLOCK_MONOTONIC_RAW).
 * real_ns: nanoseconds since 1970-01-01T00:00:00Z as this machine believes; may step. */
struct clock_source {
    int64_t (*mono_ns)(void *context);
    int64_t (*real_ns)(void *context);
    void *context;
};

/* The machine's clocks as they are. */
struct clock_source clock_system(void);

/* A skewed view of the machine's clocks: offset on both, rate error on both, and one jump of the
 * wall clock only. Caller-owned; must outlive the clock_source made from it. */
struct clock_skew {
    int64_t offset_ns;
    int64_t rate_ppb;
    int64_t jump_ns;
    int64_t jump_after_ns; /* counted from clock_skewed(); 0 with jump_ns 0 means no jump */
    int64_t start_mono_ns;
    int64_t start_real_ns;
};

struct clock_source clock_skewed(struct clock_skew *skew);

/* Reads "offset_s=0.25,rate_ppm=-40,jump_s=3600,jump_after_s=10" (each part optional, any order).
 * The programs read it from the environment's ROOMWAKE_CLOCK. */
int clock_skew_parse(const char *text, struct clock_skew *skew, struct error *error);

/* clock_system(), or clock_skewed(*skew) where ROOMWAKE_CLOCK is set. -1 where that is malformed.
 */
int clock_from_environment(struct clock_skew *skew, struct clock_source *clock,
                           struct error *error);

#endif
