/* Sessions put together: each keeps what it says nothing of. */
#include "../test.h"

#include <math.h>
#include <string.h>

#include "collector/calibrate/outcome.h"

#define DATE INT64_C(1700000000000000000)

static double of(struct decimal value)
{
    return decimal_to_double(value);
}

static void a_coil_keeps_the_zero_point_that_a_rotation_found(void **state)
{
    (void)state;
    struct error error;
    struct calibration calibration = calibration_begin(0);
    const struct outcome turned = {1.02, NAN, 3e-6, 1e-8, 2e-7};
    const struct outcome coil = {1.25, 0.01, NAN, NAN, NAN};
    assert_int_equal(outcome_merge(&turned, "rotation", DATE, &calibration, &error), 0);
    assert_false(calibration_of_unit(&calibration));
    assert_int_equal(outcome_merge(&coil, "coil", DATE + 1, &calibration, &error), 0);
    assert_true(calibration_of_unit(&calibration));
    assert_true(fabs(of(calibration.gain) - 1.25) < 1e-9);
    assert_true(fabs(-of(calibration.offset) / of(calibration.gain) - 3e-6) < 2e-9);
    assert_true(fabs(calibration.offset_sd - 1.25e-8) < 1e-12);
    assert_true(fabs(calibration.residual - 2e-7) < 1e-15);
    assert_string_equal(calibration.how, "rotation, coil");
    assert_int_equal(calibration.date_ns, DATE + 1);
}

static void rounding_is_at_most_a_tenth_of_what_is_uncertain(void **state)
{
    (void)state;
    struct error error;
    for (int i = 1; i < 60; i++) {
        struct calibration calibration = calibration_begin(0);
        double sd = pow(10.0, -1 - i * 0.08);
        const struct outcome found = {1.0 + 0.0123456789 * i, sd, 1.23456789e-6 * i, 1e-8 * sd,
                                      NAN};
        assert_int_equal(outcome_merge(&found, "coil", DATE, &calibration, &error), 0);
        double gain = of(calibration.gain);
        assert_true(fabs(gain - found.gain) <= 0.0501 * sd * found.gain + 5.1e-7);
        assert_true(fabs(-of(calibration.offset) / gain - found.zero) <=
                    0.051 * found.zero_sd + 1e-6 * found.zero);
    }
}

static void what_cannot_be_kept_is_refused(void **state)
{
    (void)state;
    struct error error;
    struct calibration calibration = calibration_begin(0);
    const struct outcome endless = {INFINITY, 0.1, 0, 0, NAN};
    assert_int_equal(outcome_merge(&endless, "coil", DATE, &calibration, &error), -1);
    assert_int_equal(error.code, ERROR_RANGE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_coil_keeps_the_zero_point_that_a_rotation_found),
        cmocka_unit_test(rounding_is_at_most_a_tenth_of_what_is_uncertain),
        cmocka_unit_test(what_cannot_be_kept_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
