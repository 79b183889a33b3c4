/* Tests of a channel's description and its values.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/channel.h"

static void a_channel_takes_its_quantity_unit_and_period_from_name_and_rate(void **state)
{
    (void)state;
    struct channel channel;
    assert_int_equal(channel_init(&channel, "magnetic.x", NULL, 250, NULL), 0);
    assert_string_equal(channel.name, "magnetic.x");
    assert_string_equal(channel.unit, "T");
    assert_int_equal(channel.quantity, QUANTITY_MAGNETIC);
    assert_int64_equal(channel.period_ps, 4000000000);
    assert_int64_equal(channel.step.mantissa, 1);
    assert_int_equal(channel_init(&channel, "motion", "/", 0, NULL), 0);
    assert_int64_equal(channel.period_ps, 0);
    assert_int_equal(channel_init(&channel, "radon", "Bq", 0.1, NULL), 0);
    assert_int64_equal(channel.period_ps, INT64_C(10000000000000));
}

static void a_wrong_name_unit_or_rate_is_named(void **state)
{
    (void)state;
    struct channel channel;
    struct error error = {0};
    assert_int_equal(channel_init(&channel, "Magnetic", NULL, 1, &error), -1);
    assert_error(error, ERROR_FORMAT, "Magnetic");
    assert_int_equal(channel_init(&channel, "magnetic.x", "uT", 1, &error), -1);
    assert_error(error, ERROR_RANGE, "\"uT\" where \"T\"");
    assert_int_equal(channel_init(&channel, "radon", "a b", 1, &error), -1);
    assert_int_equal(channel_init(&channel, "radon", "0123456789abcdef", 1, &error), -1);
    const double rates[] = {-1, 1e-7, 2e6, (double)NAN, (double)INFINITY};
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        assert_int_equal(channel_init(&channel, "motion", NULL, rates[i], &error), -1);
        assert_error(error, ERROR_RANGE, "motion: rate_hz");
    }
}

static void odd_rates_have_the_nearest_period(void **state)
{
    (void)state;
    assert_int64_equal(channel_period_ps(3), 333333333333);
    assert_int64_equal(channel_period_ps(7), 142857142857);
    assert_int64_equal(channel_period_ps(0), 0);
    assert_int64_equal(channel_period_ps(-1), 0);
}

static void a_value_has_the_same_text_and_double_whatever_its_step(void **state)
{
    (void)state;
    struct channel coarse;
    struct channel fine;
    assert_int_equal(channel_init(&coarse, "temperature", NULL, 1, NULL), 0);
    fine = coarse;
    coarse.step = (struct decimal){625, -4};
    coarse.offset = (struct decimal){-40, 0};
    fine.step = (struct decimal){1, -4};
    char a[DECIMAL_TEXT_SIZE];
    char b[DECIMAL_TEXT_SIZE];
    for (int count = -2000; count < 2000; count++) {
        int tenthousandths = count * 625 - 400000;
        assert_int_equal(channel_value_text(&coarse, count, a), 0);
        assert_int_equal(channel_value_text(&fine, tenthousandths, b), 0);
        assert_string_equal(a, b);
        assert_true(channel_value(&coarse, count) == channel_value(&fine, tenthousandths));
        assert_true(channel_value(&coarse, count) == strtod(a, NULL));
    }
}

static void what_does_not_fit_18_digits_has_no_text_but_still_a_value(void **state)
{
    (void)state;
    struct channel channel;
    assert_int_equal(channel_init(&channel, "radon", "Bq", 1, NULL), 0);
    channel.step = (struct decimal){123456789012345678, -20};
    char text[DECIMAL_TEXT_SIZE];
    assert_int_equal(channel_value_text(&channel, INT32_MAX, text), -1);
    assert_close(channel_value(&channel, INT32_MAX), 2651211.0268, 0.001 * 2651211);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_channel_takes_its_quantity_unit_and_period_from_name_and_rate),
        cmocka_unit_test(a_wrong_name_unit_or_rate_is_named),
        cmocka_unit_test(odd_rates_have_the_nearest_period),
        cmocka_unit_test(a_value_has_the_same_text_and_double_whatever_its_step),
        cmocka_unit_test(what_does_not_fit_18_digits_has_no_text_but_still_a_value),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
