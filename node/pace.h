/* A libuv timer that keeps a cadence: each deadline is absolute, so lateness never adds up.
 * Must never fire twice for one deadline; deadlines missed by more than a period are left out. */
#ifndef ROOMWAKE_NODE_PACE_H
#define ROOMWAKE_NODE_PACE_H

#include <stdint.h>
#include <uv.h>

#include "common/clock.h"

/* Caller-owned; must stay until the loop has closed the timer. Fields are private. */
struct pace {
    uv_timer_t timer;
    struct clock_source clock;
    int64_t every_ns;
    int64_t due_ns;
    void (*on_due)(void *context, int64_t now_ns);
    void *context;
};

/* The first call comes one period from now. */
void pace_start(uv_loop_t *loop, struct pace *pace, const struct clock_source *clock,
                int64_t every_ns, void (*on_due)(void *context, int64_t now_ns), void *context);
void pace_close(struct pace *pace);

/* For uv_timer_start: whole milliseconds until due, rounded up, 1 to an hour. */
uint64_t pace_delay_ms(const struct clock_source *clock, int64_t now_ns, int64_t due_ns);

#endif
