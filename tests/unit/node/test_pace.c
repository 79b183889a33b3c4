/* Deadlines on the loop: never early, never endless, and no lateness that adds up. */
#include "tests/unit/test.h"

#include <uv.h>

#include "node/pace.h"

static uv_loop_t loop;

static int set_up(void **state)
{
    (void)state;
    return uv_loop_init(&loop);
}

static int tear_down(void **state)
{
    (void)state;
    uv_run(&loop, UV_RUN_DEFAULT);
    return uv_loop_close(&loop);
}

static void a_deadline_is_never_early_nor_endless(void **state)
{
    (void)state;
    struct clock_source clock = {.hurry = 0};
    assert_int_equal(pace_delay_ms(&clock, 0, 1000000), 2);
    assert_int_equal(pace_delay_ms(&clock, 0, 1500000), 2);
    assert_int_equal(pace_delay_ms(&clock, 5, 5), 1);
    assert_int_equal(pace_delay_ms(&clock, 5, INT64_MIN), 1);
    assert_int_equal(pace_delay_ms(&clock, 5, INT64_MAX), 3600000);
    assert_int_equal(pace_delay_ms(&clock, -5, INT64_MAX), 3600000);
    clock.hurry = 4; /* a clock that runs four times as fast is waited for a quarter as long */
    assert_int_equal(pace_delay_ms(&clock, 0, 12000000), 4);
}

struct beat {
    int count;
    int64_t first_ns, last_ns;
};

static void on_beat(void *context, int64_t now_ns)
{
    struct beat *beat = context;
    beat->first_ns = beat->count++ == 0 ? now_ns : beat->first_ns;
    beat->last_ns = now_ns;
    uv_sleep(3); /* lateness of each turn must not add up */
}

static double twenty_beats_ms(void)
{
    struct pace pace;
    struct beat beat = {0};
    struct clock_source clock = clock_system();
    pace_start(&loop, &pace, &clock, 20000000, on_beat, &beat);
    while (beat.count < 21) {
        uv_run(&loop, UV_RUN_ONCE);
    }
    pace_close(&pace);
    uv_run(&loop, UV_RUN_NOWAIT);
    return (double)(beat.last_ns - beat.first_ns) / 1e6;
}

/* Lateness that added up would show in every try; a machine busy with other things only in some. */
static void lateness_does_not_add_up(void **state)
{
    (void)state;
    double off_ms = INFINITY;
    for (int i = 0; i < 20 && off_ms > 8; i++) {
        off_ms = fmin(off_ms, fabs(twenty_beats_ms() - 400));
    }
    assert_true(off_ms <= 8);
}

int main(void)
{
#define PROMISE(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        PROMISE(a_deadline_is_never_early_nor_endless),
        PROMISE(lateness_does_not_add_up),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
