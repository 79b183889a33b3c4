/* That the report holds what the night holds, bounded, and leaves nothing where it is stopped. */
#include "tests/unit/night/fixture.h"

#include "collector/export/report.h"
#include "common/message.h"

static char *write_report(const struct fixture *fixture, const volatile sig_atomic_t *stop,
                          int expected)
{
    static char bytes[8 << 20];
    struct night_reader *reader = fixture_read(fixture);
    struct error error = {0};
    struct export_options options = EXPORT_ALL;
    options.stop = stop;
    FILE *out = tmpfile();
    assert_non_null(out);
    int result = report_write(reader, "night.sqlite", &options, out, &error);
    if (result != expected) {
        fail_msg("%d: %s", result, error.text);
    }
    if (stop) {
        assert_error(error, ERROR_STATE, "interrupted");
    }
    rewind(out);
    bytes[fread(bytes, 1, sizeof bytes - 1, out)] = '\0';
    assert_int_equal(fclose(out), 0);
    night_reader_close(reader);
    return bytes;
}

static size_t count_of(const char *text, const char *part)
{
    size_t count = 0;
    while ((text = strstr(text, part)) != NULL) {
        text += strlen(part);
        count++;
    }
    return count;
}

/* The least witnesses a finding has, a second apart. */
static void put_findings(struct night_writer *writer, int count)
{
    static struct coincidence found;
    struct error error;
    for (int i = 0; i < count; i++) {
        found = (struct coincidence){.id = i + 1,
                                     .start_ns = FIXTURE_START_NS + i * NS_PER_S / 4,
                                     .end_ns = FIXTURE_START_NS + i * NS_PER_S / 4,
                                     .node_count = 2,
                                     .final = true,
                                     .chance = {.per_night = 0.5 + i}};
        for (uint32_t node = 0; node < 2; node++) {
            found.members[found.member_count++] =
                (struct disturbance){.id = 2 * (int64_t)i + node + 1,
                                     .node = node,
                                     .quantity_text = "magnetic",
                                     .unit = "T",
                                     .onset_ns = found.start_ns,
                                     .pick_sd_ns = 1000000};
            found.order[found.order_count++] =
                (struct order_entry){node, found.start_ns, 1000000, 0.5};
            fixture_check(night_put_disturbance(writer, 1, &found.members[node], &error), &error);
        }
        fixture_check(night_put_coincidence(writer, 1, &found, &error), &error);
        fixture_check(night_writer_flush(writer, &error), &error);
    }
}

static void make_night(const struct fixture *fixture, int findings)
{
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_channels(writer, fixture, 1, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 4, 1);
    fixture_put_noise(writer, 1, 0, 4, 2);
    fixture_check(night_put_analysis(writer, 1, fixture->site, "live", &error), &error);
    put_findings(writer, findings);
    fixture_close(writer, 60);
}

static void each_finding_is_there_with_its_figures(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture, 3);
    const char *page = write_report(fixture, NULL, 0);
    assert_int_equal(count_of(page, "<h3 id=\"f"), 3);
    assert_int_equal(count_of(page, "Samples of the witnesses around finding"), 3);
    assert_int_equal(count_of(page, "<script"), 0);
    assert_non_null(strstr(page, "unexplained by the causes tested"));
    assert_non_null(strstr(page, "No session of questions was held."));
    assert_non_null(strstr(page, "</html>\n"));
}

/* Rarer ones keep their figures; what is left out is said. */
static void a_page_of_very_many_findings_stays_small(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture, 230);
    const char *page = write_report(fixture, NULL, 0);
    assert_int_equal(count_of(page, "<h3 id=\"f"), 200);
    assert_int_equal(count_of(page, "Samples of the witnesses around finding"), 60);
    assert_non_null(strstr(page, "Findings that are not shown here: 30"));
    assert_non_null(strstr(page, "<h3 id=\"f1\">"));
    assert_null(strstr(page, "<h3 id=\"f230\">"));
    assert_true(strlen(page) < (5u << 20));
}

static void a_session_that_can_not_be_scored_is_told_on_the_page(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    struct text json = {0};
    char plan[] = "not a plan <b>";
    const struct message_question said = {.session = "s1", .what = QUESTION_PLAN, .text = plan};
    assert_int_equal(message_question_write(&said, &json), 0);
    fixture_check(night_put_log(writer, FIXTURE_START_NS, "question", json.bytes, &error), &error);
    text_free(&json);
    fixture_close(writer, 60);
    const char *page = write_report(fixture, NULL, 0);
    assert_non_null(strstr(page, "Questions that were asked"));
    assert_null(strstr(page, "No session of questions was held."));
    assert_null(strstr(page, "plan <b>"));
}

static void a_stop_is_an_error(void **state)
{
    struct fixture *fixture = *state;
    static const volatile sig_atomic_t asked = 1;
    make_night(fixture, 1);
    (void)write_report(fixture, &asked, -1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(each_finding_is_there_with_its_figures),
        WITH_FIXTURE(a_page_of_very_many_findings_stays_small),
        WITH_FIXTURE(a_session_that_can_not_be_scored_is_told_on_the_page),
        WITH_FIXTURE(a_stop_is_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
