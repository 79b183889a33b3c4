/* Tests of a block's times and values.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/block.h"

static void evenly_timed_samples_are_rounded_to_the_nearest_nanosecond(void **state)
{
    (void)state;
    struct block block = {.count = 10, .t0_ns = 1000, .period_ps = 333333333333};
    assert_int64_equal(block_time_ns(&block, 0), 1000);
    assert_int64_equal(block_time_ns(&block, 1), 333334333);
    assert_int64_equal(block_time_ns(&block, 2), 666667667);
    assert_int64_equal(block_time_ns(&block, 3), 1000001000);
    block.period_ps = 1500;
    assert_int64_equal(block_time_ns(&block, 1), 1002);
    block.period_ps = 1499;
    assert_int64_equal(block_time_ns(&block, 1), 1001);
}

static void rounding_does_not_build_up_over_a_long_block(void **state)
{
    (void)state;
    struct block block = {.count = BLOCK_SAMPLES_MAX, .t0_ns = 0, .period_ps = 142857142857};
    assert_int64_equal(block_time_ns(&block, 65535), INT64_C(9362142857133));
}

static void a_time_never_overflows(void **state)
{
    (void)state;
    struct block block = {.count = 2, .t0_ns = INT64_MAX - 5, .period_ps = INT64_MAX};
    assert_int64_equal(block_time_ns(&block, UINT32_MAX), INT64_MAX);
    block.t0_ns = INT64_MIN;
    assert_int64_equal(block_time_ns(&block, 1), INT64_MIN + INT64_C(9223372036854776));
}

static void explicit_times_are_told_as_they_are(void **state)
{
    (void)state;
    const int64_t times_ns[] = {5, 9, 100};
    struct block block = {.count = 3, .t0_ns = 5, .times_ns = times_ns};
    assert_int64_equal(block_time_ns(&block, 2), 100);
}

static void counts_are_scaled_and_decimals_are_kept(void **state)
{
    (void)state;
    struct channel channel;
    assert_int_equal(channel_init(&channel, "magnetic.x", NULL, 250, NULL), 0);
    channel.step = (struct decimal){15, -9};
    const int32_t counts[] = {-3, 3200};
    struct block block = {.count = 2, .period_ps = channel.period_ps, .counts = counts};
    struct decimal value;
    assert_int_equal(block_decimal(&block, &channel, 1, &value), 0);
    assert_int64_equal(value.mantissa, 48);
    assert_int64_equal(value.exponent, -6);
    assert_true(block_value(&block, &channel, 0) == -4.5e-8);

    const struct decimal decimals[] = {{123456789012345678, -22}};
    struct block wide = {.count = 1, .encoding = BLOCK_DECIMAL, .decimals = decimals};
    assert_int_equal(block_decimal(&wide, &channel, 0, &value), 0);
    assert_int64_equal(value.mantissa, 123456789012345678);
    assert_true(block_value(&wide, &channel, 0) == 1.23456789012345678e-5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(evenly_timed_samples_are_rounded_to_the_nearest_nanosecond),
        cmocka_unit_test(rounding_does_not_build_up_over_a_long_block),
        cmocka_unit_test(a_time_never_overflows),
        cmocka_unit_test(explicit_times_are_told_as_they_are),
        cmocka_unit_test(counts_are_scaled_and_decimals_are_kept),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
