/* The bodies of a page's requests: what they ask for, and that all else is refused by its name.
 * Must never be softened: these come from whoever reaches the port. Run by ctest. */
#include "tests/unit/test.h"

#include <string.h>

#include "collector/web/body.h"

static int read_mark(const char *json, struct message_mark *mark, double *ago_s,
                     struct error *error)
{
    struct text body = {0};
    assert_int_equal(text_append(&body, json, strlen(json)), 0);
    int result = web_body_mark(&body, mark, ago_s, error);
    text_free(&body);
    return result;
}

static void a_mark_says_what_who_where_and_when(void **state)
{
    (void)state;
    struct message_mark mark;
    struct error error;
    double ago_s = 0;
    assert_int_equal(read_mark("{\"text\":\"tea\",\"room\":\"hall\",\"who\":\"team\",\"for_s\":5,"
                               "\"ago_s\":20}",
                               &mark, &ago_s, &error),
                     0);
    assert_int_equal(mark.what, MARK_NEW);
    assert_string_equal(mark.text, "tea");
    assert_string_equal(mark.room, "hall");
    assert_string_equal(mark.who, "team");
    assert_int_equal(mark.length_ns, INT64_C(5000000000));
    assert_true(ago_s > 19 && ago_s < 21);
    assert_int_equal(read_mark("{\"text\":\"tea\"}", &mark, &ago_s, &error), 0);
    assert_int_equal(mark.length_ns, INT64_C(60000000000));
    assert_int_equal(mark.given, MARK_GAVE_TEXT);
}

static void a_change_names_its_mark_and_only_what_is_given(void **state)
{
    (void)state;
    struct message_mark mark;
    struct error error;
    double ago_s = 0;
    assert_int_equal(read_mark("{\"correct\":7,\"running\":true}", &mark, &ago_s, &error), 0);
    assert_int_equal(mark.what, MARK_CORRECT);
    assert_int_equal(mark.number, 7);
    assert_true(mark.running);
    assert_int_equal(mark.given, MARK_GAVE_LENGTH);
    assert_int_equal(read_mark("{\"withdraw\":2}", &mark, &ago_s, &error), 0);
    assert_int_equal(mark.what, MARK_WITHDRAW);
}

static void a_bad_mark_is_refused_by_its_fault(void **state)
{
    (void)state;
    static const char *const bad[][2] = {
        {"{}", "text"},
        {"[]", "object"},
        {"{\"text\":\"a\",\"colour\":1}", "colour"},
        {"{\"text\":\"a\",\"room\":\"the hall\"}", "room"},
        {"{\"text\":\"a\",\"for_s\":-1}", "for_s"},
        {"{\"text\":\"a\",\"for_s\":86401}", "for_s"},
        {"{\"text\":\"a\",\"ago_s\":\"1\"}", "ago_s"},
        {"{\"text\":\"a\",\"running\":\"yes\"}", "running"},
        {"{\"correct\":1.5}", "correct"},
        {"{\"end\":0}", "end"},
        {"{\"end\":1,\"withdraw\":2}", "only one"},
        {"{\"correct\":1,\"text\":\"\"}", "text"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct message_mark mark;
        struct error error;
        double ago_s = 0;
        assert_int_equal(read_mark(bad[i][0], &mark, &ago_s, &error), -1);
        if (!strstr(error.text, bad[i][1])) {
            fail_msg("%s: \"%s\" does not say %s", bad[i][0], error.text, bad[i][1]);
        }
    }
}

static void pairing_is_a_code_and_nothing_else(void **state)
{
    (void)state;
    static const struct {
        const char *json;
        int result;
    } cases[] = {
        {"{\"code\":\"abcd-efgh\"}", 0},
        {"{\"code\":12}", -1},
        {"{\"code\":\"a\",\"right\":\"mark\"}", -1},
        {"{\"code\":\"a\"} x", -1},
        {"{\"code\":\"0123456789012345678901234567890123456789012345678901234567890123\"}", -1}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct text body = {0};
        struct error error;
        char code[WEB_GUESS_SIZE] = "";
        assert_int_equal(text_append(&body, cases[i].json, strlen(cases[i].json)), 0);
        assert_int_equal(web_body_pairing(&body, code, &error), cases[i].result);
        assert_true(cases[i].result == 0 ? strcmp(code, "abcd-efgh") == 0 : error.text[0] != '\0');
        text_free(&body);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_mark_says_what_who_where_and_when),
        cmocka_unit_test(a_change_names_its_mark_and_only_what_is_given),
        cmocka_unit_test(a_bad_mark_is_refused_by_its_fault),
        cmocka_unit_test(pairing_is_a_code_and_nothing_else),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
