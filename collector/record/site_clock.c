/* UTC at the start plus a clock that never steps.
 * Must never follow the wall clock afterwards. Called by session.c and its parts. */
#include "collector/record/site_clock.h"

#include <stdlib.h>

#include "common/kernel_clock.h"

/* What a machine that nobody disciplines may be off (common practice, no source). */
#define UNDISCIPLINED_NS INT64_C(1000000000)
/* Between two looks no daemon slews so far. */
#define STEP_LEAST_NS INT64_C(100000000)

static int64_t kernel_error_ns(void)
{
    struct kernel_clock kernel = kernel_clock_system();
    struct kernel_reading reading;
    kernel.read(kernel.context, &reading);
    bool kept = reading.disciplined && reading.bound_ns <= UNDISCIPLINED_NS;
    return kept ? reading.bound_ns : UNDISCIPLINED_NS;
}

static int64_t read_mono(const struct site_clock *clock)
{
    return clock->source.mono_ns(clock->source.context);
}

static int64_t read_wall_ahead(struct site_clock *clock)
{
    return clock->source.real_ns(clock->source.context) - site_clock_now_ns(clock);
}

void site_clock_init(struct site_clock *clock, struct clock_source source)
{
    *clock = (struct site_clock){.source = source, .utc_error_ns = kernel_error_ns()};
    site_clock_set(clock, source.real_ns(source.context));
}

void site_clock_set(struct site_clock *clock, int64_t site_ns)
{
    clock->start_mono_ns = read_mono(clock);
    clock->start_utc_ns = site_ns;
    clock->set_ns = site_ns;
    clock->slept_ns = clock_slept_ns(&clock->source);
    clock->wall_ahead_ns = read_wall_ahead(clock);
}

void site_clock_resume(struct site_clock *clock, int64_t site_less_mono_ns, int64_t set_ns)
{
    site_clock_set(clock, read_mono(clock) + site_less_mono_ns);
    clock->start_utc_ns = clock->start_mono_ns + site_less_mono_ns;
    clock->set_ns = set_ns;
}

int64_t site_clock_less_mono_ns(const struct site_clock *clock)
{
    return clock->start_utc_ns - clock->start_mono_ns;
}

int64_t site_clock_now_ns(void *context)
{
    struct site_clock *clock = context;
    return clock->start_utc_ns + (read_mono(clock) - clock->start_mono_ns);
}

bool site_clock_look(struct site_clock *clock, struct site_clock_news *news)
{
    int64_t slept_ns = clock_slept_ns(&clock->source);
    int64_t ahead_ns = read_wall_ahead(clock);
    int64_t step_ns = ahead_ns - clock->wall_ahead_ns;
    *news = (struct site_clock_news){.slept_ns = slept_ns - clock->slept_ns};
    clock->slept_ns = slept_ns;
    clock->wall_ahead_ns = ahead_ns;
    if (news->slept_ns > 0) {
        clock->set_ns = site_clock_now_ns(clock);
        clock->utc_error_ns += SITE_CLOCK_SLEEP_ERROR_NS;
    } else if (llabs(step_ns) >= STEP_LEAST_NS) {
        news->wall_step_ns = step_ns;
    }
    return news->slept_ns > 0 || news->wall_step_ns != 0;
}
