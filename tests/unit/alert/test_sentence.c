/* Coincidences in words and as JSON. */
#include "tests/unit/alert/alert_for_tests.h"

#include <cjson/cJSON.h>
#include <time.h>

#include "collector/alert/alert_json.h"
#include "collector/alert/coincidence_json.h"
#include "collector/alert/sentence.h"
#include "common/json.h"

static struct site *site;
static struct coincidence coincidence;
static struct text text;

static int setup(void **state)
{
    (void)state;
    (void)setenv("TZ", "UTC", 1);
    tzset();
    site = make_alert_site();
    make_coincidence(&coincidence);
    text = (struct text){0};
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    site_free(site);
    text_free(&text);
    return 0;
}

static void the_line_says_what_where_how_close_and_how_likely(void **state)
{
    (void)state;
    assert_int_equal(sentence_line(site, &coincidence, &text), 0);
    assert_string_equal(text.bytes,
                        "22:00:00.120 unexplained: hall, passage and big \"kitchen\" (3 nodes) "
                        "within 18 ms; order can't be told; by chance 0.004 a night");
}

static void the_line_names_the_first_only_where_it_is_known(void **state)
{
    (void)state;
    coincidence.kind = COINCIDENCE_TRAVELLING;
    coincidence.first_known = true;
    coincidence.order[0].first_probability = 0.999;
    coincidence.speed = (struct speed){.known = true, .value_m_s = 1.23};
    coincidence.mark_id = 4;
    coincidence.verdict.cause = CAUSE_PERSON_WALKING;
    assert_int_equal(sentence_line(site, &coincidence, &text), 0);
    assert_string_equal(text.bytes,
                        "22:00:00.120 person walking: hall, then passage, then big \"kitchen\" "
                        "(3 nodes) within 18 ms; hall (n1) first, 99 % sure; 1.2 m/s; by chance "
                        "0.004 a night; covered by mark 4");
}

static void the_account_holds_every_number_of_the_verdict(void **state)
{
    (void)state;
    assert_int_equal(sentence_account(site, &coincidence, &text), 0);
    assert_non_null(strstr(text.bytes, "hall (n1): magnetic 312 nT, 9.1 times its noise"));
    assert_non_null(strstr(text.bytes, "no step at \"50 Hz\""));
    assert_non_null(strstr(text.bytes, "path: hall, then passage after 9 ms"));
    assert_non_null(strstr(text.bytes, "n2 25 %"));
    assert_non_null(strstr(text.bytes, "not enough to tell an order"));
    assert_non_null(strstr(text.bytes, "chance alone brings 0.004"));
    assert_int_equal(text.bytes[text.length - 1], '\n');
}

static void onsets_that_agree_are_together_and_not_merely_without_an_order(void **state)
{
    (void)state;
    coincidence.together = true;
    assert_int_equal(sentence_account(site, &coincidence, &text), 0);
    assert_non_null(strstr(text.bytes, "; together, as far as clocks and samples tell; "));
    assert_non_null(strstr(text.bytes, "(together: their onsets differ by no more than"));
    assert_null(strstr(text.bytes, "order can't be told"));
}

static void values_take_the_prefix_that_suits(void **state)
{
    (void)state;
    static const struct {
        double value;
        const char *unit;
        const char *text;
    } cases[] = {
        {312e-9, "T", "312 nT"},
        {-48.7e-6, "T", "-48.7 uT"},
        {0.0123, "V", "12.3 mV"},
        {21.456, "Cel", "21.5 degC"},
        {1, "/", "1.00"},
        {0, "T", "0.00 T"},
        {1234, "count", "1234 count"},
        {999.97e-9, "T", "1.00 uT"},
        {NAN, "T", "not measurable"},
        {55.5, "%RH", "55.5 %RH"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char out[64];
        sentence_value(cases[i].value, cases[i].unit, out, sizeof out);
        assert_string_equal(out, cases[i].text);
    }
}

static void rates_have_two_digits_and_never_a_false_zero(void **state)
{
    (void)state;
    static const struct {
        double rate;
        const char *text;
    } cases[] = {
        {0.004, "0.004"},
        {0.00412, "0.0041"},
        {1.25, "1.2"},
        {12.6, "13"},
        {100, "100"},
        {1e-9, "less than 0.000001"},
        {0.1, "0.1"},
        {2, "2"},
        {INFINITY, "an unknown number"},
        {1e9, "more than a million"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char out[64];
        sentence_rate(cases[i].rate, out, sizeof out);
        assert_string_equal(out, cases[i].text);
    }
}

static const cJSON *get(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    if (!item) {
        fail_msg("no \"%s\"", name);
    }
    return item;
}

static void the_message_is_the_finding_with_site_and_text_before_it(void **state)
{
    (void)state;
    struct text finding = {0};
    coincidence.alert = true;
    assert_int_equal(alert_json_write(site, &coincidence, "a \"line\"", &text), 0);
    coincidence_json_append(&finding, &coincidence, site);
    static const char begin[] = "{\"site\":\"lodge\",\"text\":\"a \\\"line\\\"\",";
    assert_memory_equal(text.bytes, begin, sizeof begin - 1);
    assert_memory_equal(text.bytes + sizeof begin - 1, finding.bytes, finding.length);
    assert_string_equal(text.bytes + sizeof begin - 1 + finding.length, "}");
    text_free(&finding);
}

static void numbers_that_json_has_not_become_null(void **state)
{
    (void)state;
    struct error error;
    cJSON *json = NULL;
    coincidence.chance.p_value = NAN;
    coincidence.first_known = true;
    coincidence.speed = (struct speed){true, 1.0, 0.5, INFINITY};
    coincidence.mark_id = 9;
    assert_int_equal(alert_json_write(site, &coincidence, "x", &text), 0);
    assert_int_equal(json_parse(text.bytes, text.length, "alert", &json, &error), 0);
    assert_true(cJSON_IsNull(get(get(json, "chance"), "p_value")));
    assert_true(cJSON_IsNull(get(get(json, "speed_m_s"), "high")));
    assert_string_equal(get(get(json, "first"), "node")->valuestring, "n1");
    assert_int_equal(get(json, "mark")->valueint, 9);
    cJSON_Delete(json);
}

#define WITH_SITE(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SITE(the_line_says_what_where_how_close_and_how_likely),
        WITH_SITE(the_line_names_the_first_only_where_it_is_known),
        WITH_SITE(the_account_holds_every_number_of_the_verdict),
        WITH_SITE(onsets_that_agree_are_together_and_not_merely_without_an_order),
        WITH_SITE(values_take_the_prefix_that_suits),
        WITH_SITE(rates_have_two_digits_and_never_a_false_zero),
        WITH_SITE(the_message_is_the_finding_with_site_and_text_before_it),
        WITH_SITE(numbers_that_json_has_not_become_null),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
