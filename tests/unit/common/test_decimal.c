/* Tests that decimals keep every digit.
 * Must never depend on anything but common; random cases come from a fixed seed.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/decimal.h"

static struct decimal read(const char *text)
{
    struct decimal value;
    struct error error;
    if (decimal_parse(text, strlen(text), &value, &error)) {
        fail_msg("%s: %s", text, error.text);
    }
    return value;
}

static void assert_decimal(struct decimal value, int64_t mantissa, int exponent)
{
    assert_int64_equal(value.mantissa, mantissa);
    assert_int64_equal(value.exponent, exponent);
}

static uint64_t next_random(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return *seed >> 11 ^ *seed << 21;
}

static void numbers_are_read_into_normal_form(void **state)
{
    (void)state;
    assert_decimal(read("0"), 0, 0);
    assert_decimal(read("-0.000e99999999999"), 0, 0);
    assert_decimal(read("1"), 1, 0);
    assert_decimal(read("+100"), 1, 2);
    assert_decimal(read("-21.50"), -215, -1);
    assert_decimal(read("0.00004870"), 487, -7);
    assert_decimal(read("1.5e-08"), 15, -9);
    assert_decimal(read("12E+2"), 12, 2);
    assert_decimal(read("999999999999999999"), 999999999999999999, 0);
    assert_decimal(read("0.000000000000000000000123456789012345678"), 123456789012345678, -39);
    assert_decimal(read("1000000000000000000000000"), 1, 24);
    assert_decimal(read("1.00000000000000000000000"), 1, 0);
}

static void what_is_no_number_is_refused(void **state)
{
    (void)state;
    const char *bad[] = {"",   "-",  "+",   ".5",  "5.",  "1e",   "1e+",   "e5",    "1.2.3", "1,5",
                         " 1", "1 ", "--1", "nan", "inf", "0x10", "1e1.5", "1 000", "1e5x",  "+-1"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct decimal value;
        struct error error = {0};
        assert_int_equal(decimal_parse(bad[i], strlen(bad[i]), &value, &error), -1);
        assert_error(error, ERROR_FORMAT, "not a number");
    }
    struct decimal value;
    assert_int_equal(decimal_parse("1\0", 2, &value, NULL), -1);
}

static void what_does_not_fit_is_an_error_and_never_rounded(void **state)
{
    (void)state;
    struct decimal value;
    struct error error = {0};
    const char *long_text = "1.000000000000000001";
    assert_int_equal(decimal_parse(long_text, strlen(long_text), &value, &error), -1);
    assert_error(error, ERROR_RANGE, "more than 18 digits");
    assert_int_equal(decimal_parse("1e301", 5, &value, &error), -1);
    assert_error(error, ERROR_RANGE, "exponent");
    assert_int_equal(decimal_parse("1e-301", 6, &value, &error), -1);
    assert_int_equal(decimal_parse("1e99999999999999999999", 22, &value, &error), -1);
    assert_error(error, ERROR_RANGE, "exponent");
    assert_int_equal(decimal_parse("1e300", 5, &value, &error), 0);
}

static void text_is_the_shortest_plain_one(void **state)
{
    (void)state;
    const struct {
        const char *in;
        const char *out;
    } cases[] = {
        {"0", "0"},
        {"-0", "0"},
        {"100", "100"},
        {"0.10", "0.1"},
        {"-21.50", "-21.5"},
        {"4.87e-5", "0.0000487"},
        {"1e-9", "0.000000001"},
        {"1.23456789012345678e-9", "0.00000000123456789012345678"},
        {"9.9e-10", "9.9e-10"},
        {"4.87e-12", "4.87e-12"},
        {"1e-12", "1e-12"},
        {"-1e-300", "-1e-300"},
        {"1e20", "100000000000000000000"},
        {"1e21", "1e21"},
        {"-1.5e300", "-1.5e300"},
        {"-999999999999999999", "-999999999999999999"},
        {"709330400.123456789", "709330400.123456789"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[DECIMAL_TEXT_SIZE];
        decimal_format(read(cases[i].in), text);
        assert_string_equal(text, cases[i].out);
    }
}

static void every_decimal_survives_text_and_back(void **state)
{
    (void)state;
    uint64_t seed = 1;
    for (int i = 0; i < 50000; i++) {
        int64_t mantissa = (int64_t)(next_random(&seed) % UINT64_C(1000000000000000000));
        for (uint64_t cut = next_random(&seed) % 18; cut > 0; cut--) {
            mantissa /= 10;
        }
        int exponent = (int)(next_random(&seed) % 561) - 280;
        struct decimal value =
            decimal_normal((struct decimal){i % 2 ? mantissa : -mantissa, (int16_t)exponent});
        char text[DECIMAL_TEXT_SIZE];
        decimal_format(value, text);
        assert_true(strlen(text) < DECIMAL_TEXT_SIZE);
        assert_decimal(read(text), value.mantissa, value.exponent);
    }
}

static void the_extremes_of_the_struct_fit_the_text(void **state)
{
    (void)state;
    char text[DECIMAL_TEXT_SIZE];
    decimal_format((struct decimal){INT64_MIN, INT16_MIN}, text);
    assert_string_equal(text, "-9.223372036854775808e-32750");
    decimal_format((struct decimal){INT64_MAX, -27}, text);
    assert_string_equal(text, "0.000000009223372036854775807");
    decimal_format((struct decimal){1000, INT16_MAX}, text);
    assert_string_equal(text, "1.000e32770");
}

static void rescaling_is_exact_or_refused(void **state)
{
    (void)state;
    int64_t out = 0;
    assert_int_equal(decimal_rescale(read("21.5"), -3, &out), 0);
    assert_int64_equal(out, 21500);
    assert_int_equal(decimal_rescale(read("-2500"), 2, &out), 0);
    assert_int64_equal(out, -25);
    assert_int_equal(decimal_rescale((struct decimal){1500, -2}, 0, &out), 0);
    assert_int64_equal(out, 15);
    assert_int_equal(decimal_rescale(read("21.5"), 0, &out), -1);
    assert_int_equal(decimal_rescale(read("1e19"), 0, &out), -1);
    assert_int_equal(decimal_rescale(read("1e-200"), 0, &out), -1);
    assert_int_equal(decimal_rescale(read("9e18"), 0, &out), 0);
    assert_int_equal(decimal_rescale(read("10e18"), 0, &out), -1);
    assert_int_equal(decimal_rescale(read("0"), 250, &out), 0);
    assert_int64_equal(out, 0);
}

static void multiply_add_is_exact(void **state)
{
    (void)state;
    struct decimal out;
    assert_int_equal(decimal_multiply_add(-7, read("1.5e-08"), read("0"), &out), 0);
    assert_decimal(out, -105, -9);
    assert_int_equal(decimal_multiply_add(4, read("0.0625"), read("-40"), &out), 0);
    assert_decimal(out, -3975, -2);
    assert_int_equal(decimal_multiply_add(640, read("0.0625"), read("-40"), &out), 0);
    assert_decimal(out, 0, 0);
    assert_int_equal(decimal_multiply_add(0, read("0.1"), read("1e5"), &out), 0);
    assert_decimal(out, 1, 5);
    assert_int_equal(decimal_multiply_add(3, read("1e17"), read("1"), &out), 0);
    assert_decimal(out, 300000000000000001, 0);
    assert_int_equal(decimal_multiply_add(1000000000000000000,
                                          (struct decimal){100000000000000000, -35}, read("1e17"),
                                          &out),
                     0);
    assert_decimal(out, 100000000000000001, 0);
    assert_int_equal(decimal_multiply_add(INT32_MAX, read("0.000123456"), read("273.15"), &out), 0);
    assert_decimal(out, 265392891124032, -9);
}

static void multiply_add_refuses_what_needs_more_digits(void **state)
{
    (void)state;
    struct decimal out;
    assert_int_equal(decimal_multiply_add(1, read("1e18"), read("1"), &out), -1);
    assert_int_equal(decimal_multiply_add(1, read("1e-200"), read("1e200"), &out), -1);
    assert_int_equal(decimal_multiply_add(1, read("1e200"), read("1e-200"), &out), -1);
    assert_int_equal(
        decimal_multiply_add(INT64_MAX, read("999999999999999999"), read("1e-30"), &out), -1);
    assert_int_equal(decimal_multiply_add(INT64_MIN, (struct decimal){INT64_MIN, 0},
                                          (struct decimal){INT64_MAX, 3}, &out),
                     -1);
    assert_int_equal(decimal_multiply_add(10, read("1e300"), read("0"), &out), -1);
}

static void doubles_are_the_nearest(void **state)
{
    (void)state;
    uint64_t seed = 7;
    for (int i = 0; i < 20000; i++) {
        int64_t mantissa = (int64_t)(next_random(&seed) % UINT64_C(1000000000000000000));
        for (uint64_t cut = next_random(&seed) % 18; cut > 0; cut--) {
            mantissa /= 10;
        }
        struct decimal value = {mantissa, (int16_t)((int)(next_random(&seed) % 61) - 30)};
        char text[DECIMAL_TEXT_SIZE];
        decimal_format(value, text);
        double expected = strtod(text, NULL);
        double actual = decimal_to_double(value);
        assert_memory_equal(&actual, &expected, sizeof actual);
    }
}

static void doubles_go_into_decimals_and_back_unchanged(void **state)
{
    (void)state;
    const double values[] = {0,    1,     -1,        0.1,    1.0 / 3, 4.87e-5, 1e300,
                             1e22, -2e-7, 123456.75, 5e-290, 250,     0.5};
    struct decimal out;
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
        assert_int_equal(decimal_from_double(values[i], &out), 0);
        assert_true(decimal_to_double(out) == values[i]);
    }
    assert_int_equal(decimal_from_double(0.1, &out), 0);
    assert_decimal(out, 1, -1);
    assert_int_equal(decimal_from_double((double)NAN, &out), -1);
    assert_int_equal(decimal_from_double((double)INFINITY, &out), -1);
    assert_int_equal(decimal_from_double(1e-308, &out), -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_are_read_into_normal_form),
        cmocka_unit_test(what_is_no_number_is_refused),
        cmocka_unit_test(what_does_not_fit_is_an_error_and_never_rounded),
        cmocka_unit_test(text_is_the_shortest_plain_one),
        cmocka_unit_test(every_decimal_survives_text_and_back),
        cmocka_unit_test(the_extremes_of_the_struct_fit_the_text),
        cmocka_unit_test(rescaling_is_exact_or_refused),
        cmocka_unit_test(multiply_add_is_exact),
        cmocka_unit_test(multiply_add_refuses_what_needs_more_digits),
        cmocka_unit_test(doubles_are_the_nearest),
        cmocka_unit_test(doubles_go_into_decimals_and_back_unchanged),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
