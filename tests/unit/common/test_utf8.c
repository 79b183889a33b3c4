/* Tests of the strict reading of UTF-8.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/utf8.h"

static void well_formed_characters_of_all_lengths_are_taken(void **state)
{
    (void)state;
    assert_int_equal(utf8_character("a", 1), 1);
    assert_int_equal(utf8_character("\xc2\x80", 2), 2);
    assert_int_equal(utf8_character("\xe0\xa0\x80", 3), 3);
    assert_int_equal(utf8_character("\xef\xbf\xbd", 3), 3);
    assert_int_equal(utf8_character("\xf0\x90\x80\x80", 4), 4);
    assert_int_equal(utf8_character("\xf4\x8f\xbf\xbf", 4), 4);
    assert_true(utf8_valid("gr\xc3\xbc\xc3\x9f", 6));
    assert_true(utf8_valid("", 0));
}

static void overlong_surrogate_cut_and_too_large_forms_are_refused(void **state)
{
    (void)state;
    const char *bad[] = {"\x80",
                         "\xc0\x80",
                         "\xc1\xbf",
                         "\xe0\x9f\xbf",
                         "\xed\xa0\x80",
                         "\xf0\x8f\xbf\xbf",
                         "\xf4\x90\x80\x80",
                         "\xf5\x80\x80\x80",
                         "\xff",
                         "\xe2\x82",
                         "\xc3(",
                         "\xe2\x28\xa1"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_int_equal(utf8_character(bad[i], strlen(bad[i])), 0);
        assert_false(utf8_valid(bad[i], strlen(bad[i])));
    }
    assert_int_equal(utf8_character("", 0), 0);
}

static void a_cut_never_splits_a_character(void **state)
{
    (void)state;
    assert_int_equal(utf8_cut("abc", 3, 5), 3);
    assert_int_equal(utf8_cut("a\xe2\x82\xac", 4, 4), 4);
    assert_int_equal(utf8_cut("a\xe2\x82\xac", 4, 3), 1);
    assert_int_equal(utf8_cut("a\xe2\x82\xac", 4, 2), 1);
    assert_int_equal(utf8_cut("\xe2\x82\xac", 3, 1), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(well_formed_characters_of_all_lengths_are_taken),
        cmocka_unit_test(overlong_surrogate_cut_and_too_large_forms_are_refused),
        cmocka_unit_test(a_cut_never_splits_a_character),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
