/* What the fits of a calibration share: a session's readings, their middle and their noise. */
#include "tests/unit/test.h"

#include <math.h>

#include "collector/calibrate/readings.h"
#include "tests/unit/calibrate/draw.h"

static void readings_come_back_in_order_and_are_found_by_time(void **state)
{
    (void)state;
    struct readings series = {0};
    struct error error;
    assert_int_equal(readings_find(&series, 5), 0);
    for (int i = 0; i < 5000; i++) {
        assert_int_equal(readings_add(&series, 10 * i, 0.5 * i, &error), 0);
    }
    assert_int_equal(series.count, 5000);
    assert_int_equal(readings_find(&series, -1), 0);
    assert_int_equal(readings_find(&series, 100), 10);
    assert_int_equal(readings_find(&series, 101), 11);
    assert_int_equal(readings_find(&series, 49991), 5000);
    assert_close(series.values[4999], 2499.5, 1e-12);
    readings_free(&series);
    assert_int_equal(series.count, 0);
}

static void a_session_that_is_too_long_is_refused_with_what_to_do(void **state)
{
    (void)state;
    struct readings series = {.count = READINGS_MAX, .size = READINGS_MAX};
    struct error error;
    assert_int_equal(readings_add(&series, 1, 1.0, &error), -1);
    assert_error(error, ERROR_RANGE, "--from and --to");
}

static void the_median_is_the_middle_or_the_mean_of_two(void **state)
{
    (void)state;
    double odd[] = {3.0, -1.0, 2.0};
    double even[] = {4.0, 1.0, 3.0, 2.0};
    assert_close(readings_median(odd, 3), 2.0, 1e-12);
    assert_close(readings_median(even, 4), 2.5, 1e-12);
}

static void noise_is_what_neighbours_differ_by_whatever_the_level_does(void **state)
{
    (void)state;
    struct readings series = {0};
    struct draw draw = draw_from(11);
    struct error error;
    for (int i = 0; i < 20000; i++) {
        double level = 0.001 * i + (i > 9000 ? 500.0 : 0.0); /* a drift and a jump */
        assert_int_equal(readings_add(&series, i, level + 2.0 * draw_normal(&draw), &error), 0);
    }
    assert_close(readings_noise(&series), 2.0, 0.05);
    series.count = 2;
    assert_true(isnan(readings_noise(&series)));
    readings_free(&series);
}

static void noise_below_a_count_is_still_told(void **state)
{
    (void)state;
    struct readings series = {0};
    struct error error;
    for (int i = 0; i < 1000;
         i++) { /* one reading in ten is a step up: most neighbours are equal */
        assert_int_equal(readings_add(&series, i, i % 10 == 0 ? 1.0 : 0.0, &error), 0);
    }
    assert_close(readings_noise(&series), sqrt(0.2) / sqrt(2.0), 0.01);
    readings_free(&series);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(readings_come_back_in_order_and_are_found_by_time),
        cmocka_unit_test(a_session_that_is_too_long_is_refused_with_what_to_do),
        cmocka_unit_test(the_median_is_the_middle_or_the_mean_of_two),
        cmocka_unit_test(noise_is_what_neighbours_differ_by_whatever_the_level_does),
        cmocka_unit_test(noise_below_a_count_is_still_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
