/* That findings and marks come as captions which any player takes, whatever their text holds. */
#include "tests/unit/night/fixture.h"

#include "collector/export/exporter.h"

static char *export_text(const struct fixture *fixture, int64_t from_ns)
{
    static char bytes[1 << 16];
    struct night_reader *reader = fixture_read(fixture);
    struct error error;
    struct export_options options = EXPORT_ALL;
    options.from_ns = from_ns;
    options.out = tmpfile();
    assert_non_null(options.out);
    fixture_check(export_run("webvtt", reader, &options, &error), &error);
    rewind(options.out);
    bytes[fread(bytes, 1, sizeof bytes - 1, options.out)] = '\0';
    assert_int_equal(fclose(options.out), 0);
    night_reader_close(reader);
    return bytes;
}

static void put_mark(struct night_writer *writer, int64_t id, int64_t start_ns, int64_t end_ns,
                     const char *text)
{
    struct error error;
    struct mark mark = {.id = id, .start_ns = start_ns, .end_ns = end_ns, .room = "hall"};
    (void)snprintf(mark.text, sizeof mark.text, "%s", text);
    fixture_check(night_put_mark(writer, &mark, &error), &error);
}

static void make_night(const struct fixture *fixture)
{
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    put_mark(writer, 1, FIXTURE_START_NS + 3723 * NS_PER_S + 4567890,
             FIXTURE_START_NS + 3730 * NS_PER_S, "1 --> 2 <script>\n\nNOTE &");
    put_mark(writer, 2, FIXTURE_START_NS + 1 * NS_PER_S, FIXTURE_START_NS + 1 * NS_PER_S,
             "\xe2\x80\xae"
             "steps \xff");
    fixture_close(writer, 4000);
}

/* WebVTT: The Web Video Text Tracks Format (W3C Candidate Recommendation, 2019), sec. 4.1: cues in
 * the order of their starts, each longer than nothing; sec. 4.2.2: "&" and "<" escaped, no "-->".
 */
static void cues_are_in_order_and_hostile_text_is_words_alone(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture);
    assert_string_equal(export_text(fixture, INT64_MIN),
                        "WEBVTT\n\nNOTE\nNight lodge-20231114T221320Z."
                        " 00:00:00.000 is 2023-11-14T22:13:20.000000000Z.\n"
                        "\nmark-2\n00:00:01.000 --> 00:00:04.000\n"
                        "mark (hall): steps \xef\xbf\xbd\n"
                        "\nmark-1\n01:02:03.004 --> 01:02:10.000\n"
                        "mark (hall): 1 --&gt; 2 &lt;script&gt;  NOTE &amp;\n");
}

static void zero_is_where_the_window_begins(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture);
    assert_string_equal(export_text(fixture, FIXTURE_START_NS + 3725 * NS_PER_S),
                        "WEBVTT\n\nNOTE\nNight lodge-20231114T221320Z."
                        " 00:00:00.000 is 2023-11-14T23:15:25.000000000Z.\n"
                        "\nmark-1\n00:00:00.000 --> 00:00:05.000\n"
                        "mark (hall): 1 --&gt; 2 &lt;script&gt;  NOTE &amp;\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(cues_are_in_order_and_hostile_text_is_words_alone),
        WITH_FIXTURE(zero_is_where_the_window_begins),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
