/* UTC at the start plus a clock that never steps.
 * Must never follow the wall clock afterwards. Called by session.c and its parts. */
#include "collector/record/site_clock.h"

#include <sys/timex.h>

/* What a machine that nobody disciplines may be off (common practice, no source). */
#define UNDISCIPLINED_NS INT64_C(1000000000)
#define NS_PER_US INT64_C(1000)

static int64_t kernel_error_ns(void)
{
    struct timex status = {.modes = 0};
    int state = adjtimex(&status);
    if (state == TIME_ERROR || state < 0 || status.maxerror * NS_PER_US > UNDISCIPLINED_NS) {
        return UNDISCIPLINED_NS;
    }
    return status.maxerror * NS_PER_US;
}

void site_clock_init(struct site_clock *clock, struct clock_source source)
{
    clock->source = source;
    clock->start_mono_ns = source.mono_ns(source.context);
    clock->start_utc_ns = source.real_ns(source.context);
    clock->utc_error_ns = kernel_error_ns();
}

int64_t site_clock_now_ns(void *context)
{
    struct site_clock *clock = context;
    return clock->start_utc_ns +
           (clock->source.mono_ns(clock->source.context) - clock->start_mono_ns);
}
