/* The second register layout of the magnetometers that a board may have: found by its id, its axes
 * in their own order, its overflow told by a flag. The first is tested with the whole board. Must
 * never look into the chip but by its registers. */
#include "tests/unit/test.h"

#include "node/board/magnetometer.h"
#include "tests/unit/board/hal_for_tests.h"

#define ID_AT 13
#define STATUS_AT 6

static int fit_part(void **state)
{
    (void)state;
    memset(&chip, 0, sizeof chip);
    chip.twi_answers = true;
    chip.twi_address = 0x0d;
    chip.twi[ID_AT] = 0xff;
    return 0;
}

/* Asks at its time, and takes what is there 7 ms later. */
static struct report_magnetic measure(struct magnetometer *part)
{
    struct report_magnetic value = {0};
    uint32_t tick = 0;
    uint32_t asked = part->due;
    assert_false(magnetometer_turn(part, asked, &tick, &value));
    assert_false(magnetometer_turn(part, asked + 7 * REPORT_SAMPLE_TICKS - 1, &tick, &value));
    assert_true(magnetometer_turn(part, asked + 7 * REPORT_SAMPLE_TICKS, &tick, &value));
    assert_int_equal(tick, asked);
    return value;
}

static void it_is_found_by_its_id_and_set_to_run(void **state)
{
    (void)state;
    struct magnetometer part = {0};
    magnetometer_find(&part, 1000);
    assert_int_equal(part.part, MAGNETOMETER_0D);
    assert_int_equal(chip.twi[0x0b], 0x01);
    assert_int_equal(chip.twi[0x09], 0xcd);
    chip.twi[ID_AT] = 0x00;
    magnetometer_find(&part, 1000);
    assert_int_equal(part.part, MAGNETOMETER_NONE);
}

static void its_axes_are_x_y_z_with_the_low_byte_first(void **state)
{
    (void)state;
    static const uint8_t field[] = {0x10, 0x00, 0x00, 0x01, 0xf0, 0xff};
    struct magnetometer part = {0};
    magnetometer_find(&part, 0);
    memcpy(chip.twi, field, sizeof field);
    struct report_magnetic value = measure(&part);
    assert_int_equal(value.status, MAGNETIC_GOOD);
    assert_int64_equal(value.axis[0], 16);
    assert_int64_equal(value.axis[1], 256);
    assert_int64_equal(value.axis[2], -16);
}

static void its_overflow_flag_says_saturated(void **state)
{
    (void)state;
    struct magnetometer part = {0};
    magnetometer_find(&part, 0);
    chip.twi[STATUS_AT] = 0x02;
    assert_int_equal(measure(&part).status, MAGNETIC_SATURATED);
    chip.twi[STATUS_AT] = 0x01;
    assert_int_equal(measure(&part).status, MAGNETIC_GOOD);
    chip.twi_answers = false;
    assert_int_equal(measure(&part).status, MAGNETIC_NO_ANSWER);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(it_is_found_by_its_id_and_set_to_run, fit_part),
        cmocka_unit_test_setup(its_axes_are_x_y_z_with_the_low_byte_first, fit_part),
        cmocka_unit_test_setup(its_overflow_flag_says_saturated, fit_part),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
