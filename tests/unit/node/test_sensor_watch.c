/* What is told of a sensor is what its samples were: rate, noise, stuck, clipped, missing. */
#include "../test.h"

#include <math.h>
#include <string.h>

#include "node/sensor_watch.h"
#include "node/world/rng.h"

static struct channel channel_of(double rate_hz, int32_t least, int32_t most)
{
    struct channel channel;
    assert_int_equal(channel_init(&channel, "magnetic.x", "T", rate_hz, NULL), 0);
    channel.step = (struct decimal){1, -8};
    channel.least = least;
    channel.most = most;
    return channel;
}

static struct message_sensor told(const struct sensor_watch *watch, const struct channel *channel)
{
    struct message_sensor sensor;
    sensor_watch_tell(watch, channel, &sensor);
    return sensor;
}

static int64_t play(struct sensor_watch *watch, const struct channel *channel, int64_t from_ns,
                    double hz, int count, double noise)
{
    for (int i = 0; i < count; i++) {
        double value = noise * rng_gaussian(7, (uint64_t)(from_ns / 1000 + i));
        sensor_watch_sample(watch, channel, from_ns + (int64_t)(i * 1e9 / hz),
                            (int32_t)lround(value));
    }
    return from_ns + (int64_t)(count * 1e9 / hz);
}

static void the_rate_is_what_was_measured_not_what_was_told(void **state)
{
    (void)state;
    struct sensor_watch watch = {0};
    struct channel channel = channel_of(50, 0, 0);
    assert_true(isnan(told(&watch, &channel).rate_hz));
    (void)play(&watch, &channel, 5, 47.3, 600, 10);
    assert_true(fabs(told(&watch, &channel).rate_hz / 47.3 - 1) < 1e-4);
    assert_string_equal(told(&watch, &channel).name, "magnetic.x");
}

static void noise_is_that_of_the_newest_samples_in_the_unit(void **state)
{
    (void)state;
    struct sensor_watch watch = {0};
    struct channel channel = channel_of(50, 0, 0);
    (void)play(&watch, &channel, 5, 50, 1000, 200);
    double noise = told(&watch, &channel).noise;
    assert_true(noise > 1.6e-6 && noise < 2.4e-6);
}

static void a_sensor_that_moved_and_stands_is_stuck_until_it_moves_again(void **state)
{
    (void)state;
    struct sensor_watch watch = {0};
    struct channel channel = channel_of(50, 0, 0);
    int64_t next_ns = play(&watch, &channel, 5, 50, 500, 20);
    assert_false(sensor_watch_stuck(&watch, &channel));
    for (int i = 0; i < 100; i++) {
        sensor_watch_sample(&watch, &channel, next_ns + i * INT64_C(20000000), 3);
    }
    assert_true(sensor_watch_stuck(&watch, &channel));
    assert_true(fabs(told(&watch, &channel).stuck_s - 1.98) < 0.03);
    (void)play(&watch, &channel, next_ns + 3 * NS_PER_S, 50, 5, 20);
    assert_false(sensor_watch_stuck(&watch, &channel));
    assert_true(told(&watch, &channel).stuck_s <= 0);
}

static void a_thermometer_that_seldom_changes_is_not_called_stuck(void **state)
{
    (void)state;
    struct sensor_watch watch = {0};
    struct channel channel = channel_of(1, 0, 0);
    for (int i = 0; i < 2000; i++) { /* a step each 60 s, then a still ten minutes */
        int count = i < 1400 ? i / 60 : 24;
        sensor_watch_sample(&watch, &channel, i * NS_PER_S, count);
    }
    assert_false(sensor_watch_stuck(&watch, &channel));
}

static void samples_at_the_ends_are_counted_and_told_while_they_last(void **state)
{
    (void)state;
    struct sensor_watch watch = {0};
    struct channel channel = channel_of(50, -100, 100);
    int64_t next_ns = play(&watch, &channel, 5, 50, 100, 5);
    assert_false(sensor_watch_clipped(&watch));
    sensor_watch_sample(&watch, &channel, next_ns, 100);
    sensor_watch_sample(&watch, &channel, next_ns + 1000, -100);
    assert_true(sensor_watch_clipped(&watch));
    assert_int_equal(told(&watch, &channel).clipped, 2);
    (void)play(&watch, &channel, next_ns + NS_PER_S, 50, 600, 5);
    assert_false(sensor_watch_clipped(&watch));
    assert_int_equal(told(&watch, &channel).clipped, 2);
}

static void what_was_missing_is_told_and_does_not_spoil_the_rate(void **state)
{
    (void)state;
    struct sensor_watch watch = {0};
    struct channel channel = channel_of(50, 0, 0);
    int64_t next_ns = play(&watch, &channel, 5, 50, 600, 10);
    sensor_watch_hole(&watch, next_ns, next_ns + 60 * NS_PER_S);
    (void)play(&watch, &channel, next_ns + 60 * NS_PER_S, 50, 600, 10);
    assert_true(fabs(told(&watch, &channel).missing_s - 60) < 1e-6);
    assert_true(fabs(told(&watch, &channel).rate_hz / 50 - 1) < 1e-3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_rate_is_what_was_measured_not_what_was_told),
        cmocka_unit_test(noise_is_that_of_the_newest_samples_in_the_unit),
        cmocka_unit_test(a_sensor_that_moved_and_stands_is_stuck_until_it_moves_again),
        cmocka_unit_test(a_thermometer_that_seldom_changes_is_not_called_stuck),
        cmocka_unit_test(samples_at_the_ends_are_counted_and_told_while_they_last),
        cmocka_unit_test(what_was_missing_is_told_and_does_not_spoil_the_rate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
