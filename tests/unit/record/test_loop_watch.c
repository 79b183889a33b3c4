/* Promises of the loop's watch: what a moment waits is counted as it was, and a hold-up is told.
 * Must never assert how fast this machine is. Run by ctest. */
#include "tests/unit/test.h"

#include "collector/record/loop_watch.h"

#define MS INT64_C(1000000)

static void what_moments_wait_is_weighed_by_time_not_by_turns(void **state)
{
    (void)state;
    struct loop_lag lag = {0};
    /* 9,999 turns of 10 us, a millisecond each, and one of 100 ms. */
    for (int i = 0; i < 9999; i++) {
        loop_lag_add(&lag, MS / 100, MS / 100, 99 * MS / 100);
    }
    loop_lag_add(&lag, 100 * MS, 90 * MS, 0);
    /* Of 10.1 s, 10.1 ms may wait longer: the first 10 ms of the long turn wait over 90 ms. */
    int64_t most_ns = loop_lag_most_ns(&lag, 0.999);
    assert_in_range(most_ns, 85 * MS, 100 * MS);
    assert_int_equal(lag.longest_ns, 100 * MS);
    assert_int_equal(lag.longest_own_ns, 90 * MS);
    /* Counted by turns, 99.99 % of them would have been 10 us. */
    assert_in_range(loop_lag_most_ns(&lag, 0.985), MS / 250, MS / 100);
}

static void an_idle_loop_keeps_nothing_waiting(void **state)
{
    (void)state;
    struct loop_lag lag = {0};
    assert_int_equal(loop_lag_most_ns(&lag, 0.999), 0);
    for (int i = 0; i < 1000; i++) {
        loop_lag_add(&lag, 0, 0, 1000 * MS);
    }
    assert_int_equal(loop_lag_most_ns(&lag, 0.999), 0);
    loop_lag_add(&lag, INT64_MAX / 4, 0, 0); /* far beyond the last bucket */
    assert_int_equal(loop_lag_most_ns(&lag, 0.999), INT64_MAX / 4);
}

static int told;
static int64_t told_busy_ns;
static int64_t told_own_ns;

static void on_held_up(void *context, int64_t busy_ns, int64_t own_ns)
{
    (void)context;
    told++;
    told_busy_ns = busy_ns;
    told_own_ns = own_ns;
}

static void a_hold_up_is_told_once_a_minute_with_what_was_its_own_work(void **state)
{
    (void)state;
    struct loop_watch watch = {.held_up = on_held_up};
    int64_t now_ns = 5000 * MS;
    loop_watch_turn(&watch, now_ns, 0, 0); /* five seconds of beginning are no turn */
    loop_watch_turn(&watch, now_ns += 999 * MS, 0, 999 * MS);
    assert_int_equal(told, 0);
    loop_watch_turn(&watch, now_ns += 5000 * MS, 4500 * MS,
                    999 * MS); /* it waited for most of it */
    assert_int_equal(told, 0);
    loop_watch_turn(&watch, now_ns += 2500 * MS, 4700 * MS, 1099 * MS);
    assert_int_equal(told, 1);
    assert_int_equal(told_busy_ns, 2300 * MS);
    assert_int_equal(told_own_ns, 100 * MS);
    loop_watch_turn(&watch, now_ns += 59000 * MS, 4700 * MS, 1099 * MS);
    assert_int_equal(told, 1);
    loop_watch_turn(&watch, now_ns += 1000 * MS, 4700 * MS, 1099 * MS);
    assert_int_equal(told, 2);
    assert_int_equal(watch.lag.longest_ns, 59000 * MS);
}

static void on_timer(uv_timer_t *timer)
{
    (void)timer;
}

static void a_loop_that_waits_is_not_busy(void **state)
{
    (void)state;
    uv_loop_t loop;
    uv_timer_t timer;
    struct loop_watch watch;
    struct error error;
    assert_int_equal(uv_loop_init(&loop), 0);
    assert_int_equal(loop_watch_start(&watch, &loop, on_held_up, NULL, &error), 0);
    assert_int_equal(uv_timer_init(&loop, &timer), 0);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(uv_timer_start(&timer, on_timer, 20, 0), 0);
        assert_int_equal(uv_run(&loop, UV_RUN_DEFAULT), 0); /* the watch does not keep it going */
    }
    uv_close((uv_handle_t *)&timer, NULL);
    loop_watch_stop(&watch);
    assert_int_equal(uv_run(&loop, UV_RUN_DEFAULT), 0);
    assert_int_equal(uv_loop_close(&loop), 0);
    int64_t busy_ns = 0;
    for (int i = 0; i < LOOP_LAG_BUCKETS; i++) {
        busy_ns += watch.lag.busy_ns[i];
    }
    assert_true(watch.lag.whole_ns - busy_ns >= 30 * MS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_moments_wait_is_weighed_by_time_not_by_turns),
        cmocka_unit_test(an_idle_loop_keeps_nothing_waiting),
        cmocka_unit_test(a_hold_up_is_told_once_a_minute_with_what_was_its_own_work),
        cmocka_unit_test(a_loop_that_waits_is_not_busy),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
