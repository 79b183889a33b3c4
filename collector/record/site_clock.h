/* The site's clock: UTC as this machine believed at the start, and from then on a clock that never
 * steps, whatever happens to the machine's wall clock. Must never be read but through this. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_SITE_CLOCK_H
#define ROOMWAKE_COLLECTOR_RECORD_SITE_CLOCK_H

#include <stdint.h>

#include "common/clock.h"

/* Caller-owned. */
struct site_clock {
    struct clock_source source;
    int64_t start_mono_ns;
    int64_t start_utc_ns;
    int64_t utc_error_ns; /* how far start_utc_ns may be off, as the kernel says; 1 s if it can't */
};

void site_clock_init(struct site_clock *clock, struct clock_source source);
/* `clock` is a struct site_clock: fits the callbacks of intake and time server. */
int64_t site_clock_now_ns(void *clock);

#endif
