/* Tests of the hours that a battery has left.
 * Must never need a battery. Run by ctest. */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "node/battery.h"

/* One reading a second from start_v, falling by so much an hour, each off by up to `scatter`. */
static void run(struct battery *battery, double start_v, double fall_v, int minutes, double scatter)
{
    unsigned draw = 7;
    for (int64_t i = 0; i < (int64_t)minutes * 60; i++) {
        draw = draw * 1103515245u + 12345u;
        double off = scatter * ((double)(draw >> 16 & 1023u) / 511.5 - 1.0);
        battery_take(battery, i * NS_PER_S, start_v - fall_v * (double)i / 3600.0 + off);
    }
}

static void a_steady_fall_tells_the_hours(void **state)
{
    (void)state;
    struct battery battery;
    battery_init(&battery, 3.3);
    run(&battery, 4.0, 0.05, 120, 0.02);
    assert_close(battery_hours_left(&battery), (3.9 - 3.3) / 0.05, 0.7);
}

static void nothing_is_told_before_the_fall_shows(void **state)
{
    (void)state;
    struct battery battery;
    battery_init(&battery, 3.3);
    run(&battery, 4.0, 0.05, 20, 0.02);
    assert_true(isnan(battery_hours_left(&battery)));
    battery_init(&battery, 3.3);
    run(&battery, 4.0, 0.0, 180, 0.05);
    assert_true(isnan(battery_hours_left(&battery)));
    battery_init(&battery, (double)NAN);
    run(&battery, 4.0, 0.05, 120, 0.0);
    assert_true(isnan(battery_hours_left(&battery)));
}

static void a_changed_battery_begins_anew_and_an_empty_one_has_none_left(void **state)
{
    (void)state;
    struct battery battery;
    battery_init(&battery, 3.3);
    run(&battery, 3.5, 0.05, 120, 0.0);
    battery_take(&battery, 7200 * NS_PER_S, 4.1);
    assert_true(isnan(battery_hours_left(&battery)));
    battery_init(&battery, 3.3);
    run(&battery, 3.31, 0.05, 60, 0.0);
    assert_close(battery_hours_left(&battery), 0.0, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_steady_fall_tells_the_hours),
        cmocka_unit_test(nothing_is_told_before_the_fall_shows),
        cmocka_unit_test(a_changed_battery_begins_anew_and_an_empty_one_has_none_left),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
