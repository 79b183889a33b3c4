/* A kernel whose clock is disciplined already takes the time server's place, with its own bound.
 * Must never ask a server. */
#include "tests/unit/node/time_server_for_tests.h"

#include "common/kernel_clock.h"

static struct kernel_reading kernel_says;

static void answer_for_kernel(void *context, struct kernel_reading *reading)
{
    (void)context;
    *reading = kernel_says;
}

static struct timekeeper *begin_with_kernel(void)
{
    static const struct kernel_clock kernel = {.read = answer_for_kernel};
    struct timekeeper_setup setup = {.loop = &loop,
                                     .clock = clock_system(),
                                     .burst_every_ns = NS_PER_S / 10,
                                     .quick_every_ns = NS_PER_S / 100,
                                     .burst_size = 8,
                                     .kernel = &kernel,
                                     .on_fit = on_fit};
    struct timekeeper *timekeeper;
    assert_int_equal(timekeeper_new(&setup, &timekeeper, NULL), 0);
    timekeeper_start(timekeeper);
    return timekeeper;
}

static void a_disciplined_kernel_is_believed_with_its_own_bound(void **state)
{
    (void)state;
    kernel_says =
        (struct kernel_reading){.disciplined = true, .bound_ns = 3000000, .estimate_ns = 20000};
    struct timekeeper *timekeeper = begin_with_kernel();
    run_until(&fits, 5);
    assert_int_equal(server.asked, 0);
    assert_true(last_fit.utc);
    int64_t node_ns = server.clock.mono_ns(server.clock.context);
    int64_t real_ns = server.clock.real_ns(server.clock.context);
    assert_close((double)(clock_fit_site_ns(&last_fit, node_ns) - real_ns), 0, 50e3);
    /* 3 ms evenly spread, and a few microseconds of the readings. */
    assert_close((double)last_fit.uncertainty_ns, 3e6 / 1.7320508, 20e3);
    /* An estimate beyond the bound counts as it is. */
    kernel_says.estimate_ns = 5000000;
    run_until(&fits, 6);
    assert_close((double)last_fit.uncertainty_ns, 5e6, 20e3);
    end(timekeeper);
}

static void a_kernel_that_is_not_disciplined_is_not_believed(void **state)
{
    (void)state;
    kernel_says = (struct kernel_reading){.bound_ns = 1000};
    struct timekeeper *timekeeper = begin_with_kernel();
    int turns = 0;
    while (turns++ < 20) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    assert_int_equal(fits, 0);
    assert_false(timekeeper_fit(timekeeper)->known);
    kernel_says.disciplined = true; /* and once it is: */
    run_until(&fits, 1);
    assert_true(last_fit.known);
    end(timekeeper);
}

static void the_machine_s_kernel_can_be_asked(void **state)
{
    (void)state;
    struct kernel_clock kernel = kernel_clock_system();
    struct kernel_reading reading = {.bound_ns = -1};
    struct clock_exchange pairs[2] = {0};
    struct kernel_leaps leaps = {0};
    int count = kernel_clock_burst(&kernel, &server.clock, &leaps, pairs, 2, &reading);
    assert_true(reading.bound_ns >= 0);
    assert_int_equal(count, reading.disciplined ? 2 : 0);
    assert_true(pairs[0].t4_ns >= pairs[0].t1_ns && pairs[0].t2_ns == pairs[0].t3_ns);
}

/* As the kernel does it (Linux, kernel/time/ntp.c, second_overflow): its wall clock goes back by a
 * second, and TAI less UTC rises by one. */
static void a_leap_second_is_not_in_the_sites_time(void **state)
{
    (void)state;
    struct kernel_clock kernel = {.read = answer_for_kernel};
    struct kernel_reading reading;
    struct kernel_leaps leaps = {0};
    struct clock_exchange before[2];
    struct clock_exchange after[2];
    struct clock_skew skew = {.jumps = {{-NS_PER_S, 1000 * NS_PER_S}}, .jump_count = 1};
    struct clock_source clock = clock_skewed(&skew);
    kernel_says = (struct kernel_reading){.disciplined = true, .bound_ns = 1000, .tai_s = 0};
    assert_int_equal(kernel_clock_burst(&kernel, &clock, &leaps, before, 2, &reading), 2);
    kernel_says.tai_s = 37; /* a daemon tells it: no leap */
    assert_int_equal(kernel_clock_burst(&kernel, &clock, &leaps, before, 2, &reading), 2);
    int64_t offset_ns = before[1].t2_ns - before[1].t1_ns;
    skew.jumps[0].after_ns = 0;
    kernel_says.tai_s = 38;
    assert_int_equal(kernel_clock_burst(&kernel, &clock, &leaps, after, 2, &reading), 2);
    assert_close(after[1].t2_ns - after[1].t1_ns, offset_ns, 5e7);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(a_disciplined_kernel_is_believed_with_its_own_bound),
        PROMISE(a_kernel_that_is_not_disciplined_is_not_believed),
        PROMISE(the_machine_s_kernel_can_be_asked),
        PROMISE(a_leap_second_is_not_in_the_sites_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
