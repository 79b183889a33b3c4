/* That other people's text is one harmless line in every export for people. */
#include "tests/unit/test.h"

#include "collector/export/plain.h"

static const char *plain_with(const char *words, void (*append)(struct text *, const char *))
{
    static struct text text;
    text_free(&text);
    append(&text, words);
    assert_false(text.failed);
    return text.bytes ? text.bytes : "";
}

static const char *plain(const char *words)
{
    return plain_with(words, plain_append);
}

static void markup_shows_what_was_written_and_does_nothing(void **state)
{
    (void)state;
    const char *words = "<script>alert('x')</script> & \"--> \"";
    assert_string_equal(plain_with(words, plain_append_markup),
                        "&lt;script&gt;alert('x')&lt;/script&gt; &amp; \"--&gt; \"");
    assert_string_equal(
        plain_with(words, plain_append_attribute),
        "&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &amp; &quot;--&gt; &quot;");
}

static void line_ends_and_controls_become_spaces(void **state)
{
    (void)state;
    assert_string_equal(plain("a\r\n\tb\x1b[2J\x7f\xc2\x85"
                              "c\xe2\x80\xa8"
                              "d\xe2\x80\xa9"
                              "e\xc2\xa0"
                              "f"),
                        "a   b [2J  c d e f");
}

/* Unicode Standard Annex 9, UAX #9 sec. 2: explicit directional formatting characters. */
static void what_turns_the_reading_direction_is_left_out(void **state)
{
    (void)state;
    assert_string_equal(plain("a\xe2\x80\xae"
                              "b\xe2\x81\xa6\xe2\x81\xa9\xe2\x80\x8f\xd8\x9c"
                              "c\xef\xbb\xbf\xf3\xa0\x81\x81"),
                        "abc");
}

static void bytes_that_are_no_utf8_become_the_replacement_character(void **state)
{
    (void)state;
    assert_string_equal(plain("a\xff\xc3(\xed\xa0\x80z"),
                        "a\xef\xbf\xbd\xef\xbf\xbd(\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbdz");
    assert_string_equal(plain("K\xc3\xbc"
                              "che \xe2\x82\xac \xf0\x9f\x94\xa6"),
                        "K\xc3\xbc"
                        "che \xe2\x82\xac \xf0\x9f\x94\xa6");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(markup_shows_what_was_written_and_does_nothing),
        cmocka_unit_test(line_ends_and_controls_become_spaces),
        cmocka_unit_test(what_turns_the_reading_direction_is_left_out),
        cmocka_unit_test(bytes_that_are_no_utf8_become_the_replacement_character),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
