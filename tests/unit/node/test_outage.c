/* Tests of when and why a driver stood still.
 * Must never need a driver. Run by ctest. */
#include "tests/unit/test.h"

#include "node/outage.h"

static void each_channel_ends_it_once_and_a_level_held_until_it_began(void **state)
{
    (void)state;
    struct outage outage;
    int64_t from_ns = 0;
    outage_init(&outage);
    assert_false(outage_end(&outage, 0, false, 100, 200, &from_ns));
    assert_false(outage_end(&outage, 1, true, 10, 10, &from_ns));
    outage_begin(&outage, 205, "unplugged");
    assert_true(outage_end(&outage, 0, false, 900, 950, &from_ns));
    assert_int_equal(from_ns, 200);
    assert_true(outage_end(&outage, 1, true, 920, 920, &from_ns));
    assert_int_equal(from_ns, 205); /* not since its last change, long before */
    assert_false(outage_end(&outage, 0, false, 960, 990, &from_ns));
    assert_false(outage_end(&outage, 2, true, 970, 970, &from_ns)); /* it never told anything */
}

static void the_first_reason_stands_until_samples_came_again(void **state)
{
    (void)state;
    struct outage outage;
    int64_t from_ns = 0;
    outage_init(&outage);
    (void)outage_end(&outage, 0, false, 0, 50, &from_ns);
    outage_begin(&outage, 60, "unplugged");
    outage_begin(&outage, 5000, "no such file");
    assert_string_equal(outage.why, "unplugged");
    assert_true(outage_end(&outage, 0, false, 9000, 9010, &from_ns));
    assert_int_equal(from_ns, 50);
    outage_begin(&outage, 9020, "silent");
    assert_string_equal(outage.why, "silent");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_channel_ends_it_once_and_a_level_held_until_it_began),
        cmocka_unit_test(the_first_reason_stands_until_samples_came_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
