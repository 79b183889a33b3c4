/* adjtimex(2), read only, and pairs of clock readings.
 * Must never set or steer a clock. Called by the node's timekeeper.c and by utc_line.c. */
#include "common/kernel_clock.h"

#include <math.h>
#include <sys/timex.h>

#define NS_PER_US INT64_C(1000)
/* The kernel's own end of belief (NTP_PHASE_LIMIT of linux/timex.h), 16 s. */
#define BOUND_MOST_NS INT64_C(16000000000)

static void read_kernel(void *context, struct kernel_reading *reading)
{
    struct timex status = {.modes = 0};
    (void)context;
    int state = adjtimex(&status);
    *reading = (struct kernel_reading){
        .bound_ns = status.maxerror * NS_PER_US,
        .estimate_ns = status.esterror * NS_PER_US,
        .tai_s = status.tai,
    };
    reading->disciplined = state >= 0 && state != TIME_ERROR && (status.status & STA_UNSYNC) == 0 &&
                           reading->bound_ns < BOUND_MOST_NS;
}

struct kernel_clock kernel_clock_system(void)
{
    return (struct kernel_clock){.read = read_kernel};
}

/* A change by one is a leap second; any other comes from a daemon that tells the kernel what TAI
 * is, which does not move its clock. */
static void count_leaps(struct kernel_leaps *leaps, int tai_s)
{
    int change = leaps->begun ? tai_s - leaps->tai_s : 0;
    leaps->count += change == 1 || change == -1 ? change : 0;
    leaps->tai_s = tai_s;
    leaps->begun = true;
}

int kernel_clock_burst(const struct kernel_clock *kernel, const struct clock_source *clock,
                       struct kernel_leaps *leaps, struct clock_exchange *pairs, int size,
                       struct kernel_reading *reading)
{
    kernel->read(kernel->context, reading);
    count_leaps(leaps, reading->tai_s);
    if (!reading->disciplined) {
        return 0;
    }
    for (int i = 0; i < size; i++) {
        pairs[i].t1_ns = clock->mono_ns(clock->context);
        pairs[i].t2_ns = clock->real_ns(clock->context) + leaps->count * NS_PER_S;
        pairs[i].t3_ns = pairs[i].t2_ns;
        pairs[i].t4_ns = clock->mono_ns(clock->context);
    }
    kernel->read(kernel->context, reading);
    return reading->disciplined && reading->tai_s == leaps->tai_s ? size : 0;
}

void kernel_clock_widen(const struct kernel_reading *reading, struct clock_fit *fit)
{
    double bound = (double)reading->bound_ns / sqrt(3);
    double kernel = fmax(bound, (double)reading->estimate_ns);
    clock_fit_widen(fit, llround(ceil(kernel)));
}
