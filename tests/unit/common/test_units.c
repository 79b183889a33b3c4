/* Tests of quantities and their units.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/units.h"

static void every_quantity_is_found_by_its_name_and_carries_its_default_unit(void **state)
{
    (void)state;
    for (int i = 0; i < QUANTITY_COUNT; i++) {
        enum quantity quantity = (enum quantity)i;
        assert_int_equal(quantity_from_name(quantity_name(quantity)), quantity);
        assert_true(quantity_unit_valid(quantity, quantity_unit_default(quantity)));
    }
}

static void an_axis_does_not_change_the_quantity(void **state)
{
    (void)state;
    assert_int_equal(quantity_from_name("magnetic.x"), QUANTITY_MAGNETIC);
    assert_int_equal(quantity_from_name("vibration.z"), QUANTITY_VIBRATION);
    assert_int_equal(quantity_from_name("clock-uncertainty"), QUANTITY_CLOCK);
}

static void an_unknown_quantity_is_other_with_any_unit(void **state)
{
    (void)state;
    assert_int_equal(quantity_from_name("radon"), QUANTITY_OTHER);
    assert_int_equal(quantity_from_name("magnet"), QUANTITY_OTHER);
    assert_int_equal(quantity_from_name("magnetics.x"), QUANTITY_OTHER);
    assert_true(quantity_unit_valid(QUANTITY_OTHER, "Bq"));
    assert_string_equal(quantity_unit_default(QUANTITY_OTHER), "");
}

static void units_of_another_kind_are_refused(void **state)
{
    (void)state;
    assert_false(quantity_unit_valid(QUANTITY_MAGNETIC, "uT"));
    assert_false(quantity_unit_valid(QUANTITY_TEMPERATURE, "K"));
    assert_false(quantity_unit_valid(QUANTITY_MOTION, ""));
    assert_true(quantity_unit_valid(QUANTITY_ELECTRIC, "V"));
    assert_true(quantity_unit_valid(QUANTITY_ELECTRIC, "count"));
    assert_false(quantity_unit_valid(QUANTITY_BATTERY, "count"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_quantity_is_found_by_its_name_and_carries_its_default_unit),
        cmocka_unit_test(an_axis_does_not_change_the_quantity),
        cmocka_unit_test(an_unknown_quantity_is_other_with_any_unit),
        cmocka_unit_test(units_of_another_kind_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
