/* Tests of the growing text buffer.
 * Must never depend on anything but common.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/text.h"

static void appended_parts_follow_each_other_and_end_in_a_terminator(void **state)
{
    (void)state;
    struct text text = {0};
    assert_int_equal(text_append(&text, "abc", 3), 0);
    assert_int_equal(text_append(&text, NULL, 0), 0);
    assert_int_equal(text_append_format(&text, "-%d", 42), 0);
    assert_string_equal(text.bytes, "abc-42");
    assert_int_equal(text.length, 6);
    text_free(&text);
    assert_null(text.bytes);
}

static void it_grows_without_losing_a_byte(void **state)
{
    (void)state;
    struct text text = {0};
    for (int i = 0; i < 5000; i++) {
        assert_int_equal(text_append_format(&text, "%04d", i), 0);
    }
    assert_int_equal(text.length, 20000);
    for (int i = 0; i < 5000; i++) {
        char expected[8];
        (void)snprintf(expected, sizeof expected, "%04d", i);
        assert_memory_equal(text.bytes + 4 * i, expected, 4);
    }
    text_free(&text);
}

static void a_formatted_piece_longer_than_the_room_comes_whole(void **state)
{
    (void)state;
    char big[3000];
    memset(big, 'x', sizeof big - 1);
    big[sizeof big - 1] = '\0';
    struct text text = {0};
    assert_int_equal(text_append_format(&text, "<%s>", big), 0);
    assert_int_equal(text.length, sizeof big + 1);
    assert_int_equal(text.bytes[text.length - 1], '>');
    text_free(&text);
}

static void a_failure_stays_until_it_is_cleared(void **state)
{
    (void)state;
    struct text text = {0};
    assert_int_equal(text_append(&text, "a", 1), 0);
    assert_int_equal(text_append(&text, "b", SIZE_MAX / 2), -1);
    assert_true(text.failed);
    assert_int_equal(text_append(&text, "c", 1), -1);
    assert_int_equal(text_append_format(&text, "d"), -1);
    assert_string_equal(text.bytes, "a");
    text_clear(&text);
    assert_int_equal(text_append(&text, "e", 1), 0);
    assert_string_equal(text.bytes, "e");
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(appended_parts_follow_each_other_and_end_in_a_terminator),
        cmocka_unit_test(it_grows_without_losing_a_byte),
        cmocka_unit_test(a_formatted_piece_longer_than_the_room_comes_whole),
        cmocka_unit_test(a_failure_stays_until_it_is_cleared),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
