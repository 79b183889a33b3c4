/* Tests of names and their bounds.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/ident.h"

static bool ident(const char *text)
{
    return ident_valid(text, strlen(text));
}

static bool channel(const char *text)
{
    return channel_name_valid(text, strlen(text));
}

static void names_of_small_letters_digits_and_hyphens_are_taken(void **state)
{
    (void)state;
    assert_true(ident("n1"));
    assert_true(ident("great-hall-2"));
    assert_true(ident("abcdefghijklmnopqrstuvwxyz012345"));
}

static void everything_else_is_refused(void **state)
{
    (void)state;
    const char *bad[] = {"",   "N1",        "a b", "a/b",
                         "a+", "#",         "a_b", "a.b",
                         "..", "a\xc3\xa9", "a\n", "abcdefghijklmnopqrstuvwxyz0123456"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(ident(bad[i]));
    }
    assert_false(ident_valid("a\0b", 3));
}

static void only_the_told_length_is_looked_at(void **state)
{
    (void)state;
    assert_true(ident_valid("ab/c", 2));
    assert_false(ident_valid("ab/c", 3));
}

static void a_channel_has_at_most_one_dot_with_names_on_both_sides(void **state)
{
    (void)state;
    assert_true(channel("motion"));
    assert_true(channel("magnetic.x"));
    assert_false(channel(".x"));
    assert_false(channel("magnetic."));
    assert_false(channel("magnetic.x.y"));
    assert_false(channel("magnetic/x"));
    assert_false(channel("abcdefghijklmnopqrstuvwxyz012345.abcdefghijklmno"));
    assert_true(channel("abcdefghijklmnopqrstuvwxyz012345.abcdefghijklmn"));
}

static void a_channel_splits_into_quantity_and_axis(void **state)
{
    (void)state;
    char quantity[IDENT_SIZE];
    char axis[IDENT_SIZE];
    channel_name_split("magnetic.x", quantity, axis);
    assert_string_equal(quantity, "magnetic");
    assert_string_equal(axis, "x");
    channel_name_split("motion", quantity, axis);
    assert_string_equal(quantity, "motion");
    assert_string_equal(axis, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_of_small_letters_digits_and_hyphens_are_taken),
        cmocka_unit_test(everything_else_is_refused),
        cmocka_unit_test(only_the_told_length_is_looked_at),
        cmocka_unit_test(a_channel_has_at_most_one_dot_with_names_on_both_sides),
        cmocka_unit_test(a_channel_splits_into_quantity_and_axis),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
