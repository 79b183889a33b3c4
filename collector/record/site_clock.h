/* The site's clock: UTC as this machine believed at the start, and from then on a clock that never
 * steps, whatever happens to the machine's wall clock. Must never be read but through this. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_SITE_CLOCK_H
#define ROOMWAKE_COLLECTOR_RECORD_SITE_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

#include "common/clock.h"

/* What a machine's clock may be off after a sleep: many count it in whole seconds only. */
#define SITE_CLOCK_SLEEP_ERROR_NS NS_PER_S

/* Caller-owned. */
struct site_clock {
    struct clock_source source;
    int64_t start_mono_ns;
    int64_t start_utc_ns;
    int64_t set_ns; /* site time at which it was last set: all times since are of one line */
    int64_t
        utc_error_ns; /* how far it may have been off then, as the kernel says; 1 s if it can't */
    int64_t slept_ns; /* as of the last look */
    int64_t wall_ahead_ns; /* of the machine's wall clock, as of the last look */
};

void site_clock_init(struct site_clock *clock, struct clock_source source);
/* Goes on where another process' site clock left off, on the same machine since its last start. */
void site_clock_resume(struct site_clock *clock, int64_t site_less_mono_ns, int64_t set_ns);
/* Sets it anew, from here on. */
void site_clock_set(struct site_clock *clock, int64_t site_ns);
/* Site time less the machine's mono_ns. */
int64_t site_clock_less_mono_ns(const struct site_clock *clock);
/* `clock` is a struct site_clock: fits the callbacks of intake and time server. */
int64_t site_clock_now_ns(void *clock);

/* What happened to the machine's clocks since the last look; 0: nothing. A sleep sets the clock
 * anew, since how long it was is not known well. */
struct site_clock_news {
    int64_t slept_ns;
    int64_t wall_step_ns; /* positive: it was set forward */
};
bool site_clock_look(struct site_clock *clock, struct site_clock_news *news);

#endif
