/* A machine whose kernel keeps UTC already (by an NTP or PTP daemon, or a GPS): pairs of its raw
 * monotonic clock and its real one, and the kernel's own word on how far the real one may be off.
 * Must never set or steer a clock. Used by nodes whose clock is "system" (timekeeper.c), and by the
 * base station, which places them (utc_line.c). */
#ifndef ROOMWAKE_COMMON_KERNEL_CLOCK_H
#define ROOMWAKE_COMMON_KERNEL_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

#include "common/clock.h"
#include "common/clock_fit.h"

struct kernel_reading {
    bool disciplined;
    int64_t bound_ns;    /* the kernel's maxerror */
    int64_t estimate_ns; /* and its esterror, one sigma */
    int tai_s;           /* TAI less UTC, as the kernel has it: it counts each leap second there */
};

/* Leap seconds since the first reading: the site's time has none. Caller-owned; start from {0}. */
struct kernel_leaps {
    bool begun;
    int tai_s;
    int count;
};

/* How the kernel is asked, so that a test can answer for it. */
struct kernel_clock {
    void (*read)(void *context, struct kernel_reading *reading);
    void *context;
};

struct kernel_clock kernel_clock_system(void);

/* Both clocks read back to back `size` times, as exchanges with a time server that answers at once.
 * Returns how many: none while the kernel does not vouch for its clock, whatever that says, and
 * none where a leap second came in between. */
int kernel_clock_burst(const struct kernel_clock *kernel, const struct clock_source *clock,
                       struct kernel_leaps *leaps, struct clock_exchange *pairs, int size,
                       struct kernel_reading *reading);
/* The kernel's error on top of the line's own: the bound as evenly spread, or the estimate where
 * that is more. */
void kernel_clock_widen(const struct kernel_reading *reading, struct clock_fit *fit);

#endif
