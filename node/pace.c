/* Absolute deadlines over libuv's relative ones.
 * Must never let a late turn of the loop move the next deadline. Called by the node's modules. */
#include "node/pace.h"

#define DELAY_MOST_MS INT64_C(3600000)

uint64_t pace_delay_ms(const struct clock_source *clock, int64_t now_ns, int64_t due_ns)
{
    if (due_ns <= now_ns) {
        return 1;
    }
    if (now_ns < 0 && due_ns > INT64_MAX + now_ns) {
        return (uint64_t)DELAY_MOST_MS;
    }
    int64_t left_ms = clock_wait_ms(clock, due_ns - now_ns);
    return (uint64_t)(left_ms < DELAY_MOST_MS ? left_ms : DELAY_MOST_MS);
}

static int64_t read_ns(const struct pace *pace)
{
    return pace->clock.mono_ns(pace->clock.context);
}

static void on_timer(uv_timer_t *timer)
{
    struct pace *pace = timer->data;
    int64_t now_ns = read_ns(pace);
    if (now_ns >= pace->due_ns) {
        pace->due_ns += ((now_ns - pace->due_ns) / pace->every_ns + 1) * pace->every_ns;
        pace->on_due(pace->context, now_ns);
    }
    if (!uv_is_closing((uv_handle_t *)timer)) {
        uv_update_time(timer->loop);
        uv_timer_start(timer, on_timer, pace_delay_ms(&pace->clock, read_ns(pace), pace->due_ns),
                       0);
    }
}

void pace_start(uv_loop_t *loop, struct pace *pace, const struct clock_source *clock,
                int64_t every_ns, void (*on_due)(void *context, int64_t now_ns), void *context)
{
    pace->clock = *clock;
    pace->every_ns = every_ns;
    pace->on_due = on_due;
    pace->context = context;
    pace->due_ns = read_ns(pace) + every_ns;
    uv_timer_init(loop, &pace->timer);
    pace->timer.data = pace;
    uv_timer_start(&pace->timer, on_timer, pace_delay_ms(&pace->clock, 0, every_ns), 0);
}

void pace_close(struct pace *pace)
{
    uv_close((uv_handle_t *)&pace->timer, NULL);
}
