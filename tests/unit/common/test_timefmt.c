/* Tests of times as text and as NTP numbers.
 * Must never read a clock; random times come from a fixed seed.
 * Run by ctest. Published values are in tests/check/check_time.c. */
#include "tests/unit/test.h"

#include <time.h>

#include "common/clock.h"
#include "common/timefmt.h"

static int64_t rfc3339(const char *text)
{
    int64_t ns = 0;
    struct error error;
    if (timefmt_parse_rfc3339(text, strlen(text), &ns, &error)) {
        fail_msg("%s: %s", text, error.text);
    }
    return ns;
}

static int64_t seconds(const char *text)
{
    int64_t ns = 0;
    struct error error;
    if (timefmt_parse_seconds(text, strlen(text), &ns, &error)) {
        fail_msg("%s: %s", text, error.text);
    }
    return ns;
}

static int64_t next_random(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return (int64_t)(*seed ^ *seed >> 29);
}

static void every_time_survives_text_and_back_to_the_nanosecond(void **state)
{
    (void)state;
    uint64_t seed = 3;
    for (int i = 0; i < 20000; i++) {
        int64_t ns = i == 0 ? INT64_MIN : i == 1 ? INT64_MAX : i == 2 ? -1 : next_random(&seed);
        char text[TIMEFMT_SIZE];
        timefmt_rfc3339(ns, text);
        assert_int_equal(strlen(text), 30);
        assert_int64_equal(rfc3339(text), ns);
        timefmt_seconds(ns, text);
        assert_int64_equal(seconds(text), ns);
    }
}

static void the_calendar_agrees_with_the_c_library(void **state)
{
    (void)state;
    for (int64_t day = -100000; day < 100000; day += 13) {
        time_t when = (time_t)(day * 86400 + 12345);
        struct tm parts;
        char expected[TIMEFMT_SIZE];
        char text[TIMEFMT_SIZE];
        assert_non_null(gmtime_r(&when, &parts));
        (void)strftime(expected, sizeof expected, "%Y-%m-%dT%H:%M:%S.000000000Z", &parts);
        timefmt_rfc3339((int64_t)when * NS_PER_S, text);
        assert_string_equal(text, expected);
    }
}

static void every_spelling_that_rfc3339_allows_is_read(void **state)
{
    (void)state;
    const int64_t base = INT64_C(1709330400) * NS_PER_S;
    assert_int64_equal(rfc3339("2024-03-01T22:00:00Z"), base);
    assert_int64_equal(rfc3339("2024-03-01t22:00:00z"), base);
    assert_int64_equal(rfc3339("2024-03-01 22:00:00.0Z"), base);
    assert_int64_equal(rfc3339("2024-03-01T22:00:00.123456Z"), base + 123456000);
    assert_int64_equal(rfc3339("2024-03-01T22:00:00.123456789000Z"), base + 123456789);
    assert_int64_equal(rfc3339("2024-03-01T22:00:00-00:00"), base);
    assert_int64_equal(rfc3339("2024-03-02T03:30:00+05:30"), base);
    assert_int64_equal(rfc3339("2024-02-29T00:00:00Z"), INT64_C(1709164800) * NS_PER_S);
}

static void malformed_times_are_refused(void **state)
{
    (void)state;
    const char *bad[] = {
        "",
        "2024-03-01",
        "2024-03-01T22:00:00",
        "2024-03-01T22:00Z",
        "2024-3-01T22:00:00Z",
        "2024-13-01T22:00:00Z",
        "2024-00-01T22:00:00Z",
        "2024-02-30T22:00:00Z",
        "2023-02-29T22:00:00Z",
        "1900-02-29T22:00:00Z",
        "2024-03-01T24:00:00Z",
        "2024-03-01T22:60:00Z",
        "2024-03-01T22:00:61Z",
        "2024-03-01T22:00:00.Z",
        "2024-03-01T22:00:00,5Z",
        "2024-03-01T22:00:00+1:00",
        "2024-03-01T22:00:00+24:00",
        "2024-03-01T22:00:00+0100",
        "2024-03-01T22:00:00Z ",
        " 2024-03-01T22:00:00Z",
        "2024-03-01X22:00:00Z",
        "-024-03-01T22:00:00Z",
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        int64_t ns = 0;
        struct error error = {0};
        if (timefmt_parse_rfc3339(bad[i], strlen(bad[i]), &ns, &error) == 0) {
            fail_msg("taken: %s", bad[i]);
        }
        assert_error(error, ERROR_FORMAT, "not an RFC 3339 time");
    }
}

static void what_int64_nanoseconds_cannot_hold_is_refused(void **state)
{
    (void)state;
    int64_t ns = 0;
    struct error error = {0};
    const char *finer = "2024-03-01T22:00:00.1234567891Z";
    assert_int_equal(timefmt_parse_rfc3339(finer, strlen(finer), &ns, &error), -1);
    assert_error(error, ERROR_RANGE, "finer than a nanosecond");
    const char *late = "2262-04-11T23:47:16.854775808Z";
    assert_int_equal(timefmt_parse_rfc3339(late, strlen(late), &ns, &error), -1);
    assert_error(error, ERROR_RANGE, "1677 to 2262");
    assert_int64_equal(rfc3339("2262-04-11T23:47:16.854775807Z"), INT64_MAX);
    const char *early = "1677-09-21T00:12:43.145224191Z";
    assert_int_equal(timefmt_parse_rfc3339(early, strlen(early), &ns, &error), -1);
    assert_int64_equal(rfc3339("1677-09-21T00:12:43.145224192Z"), INT64_MIN);
}

static void seconds_are_read_to_the_last_digit(void **state)
{
    (void)state;
    assert_int64_equal(seconds("1709330400.123456789"), INT64_C(1709330400123456789));
    assert_int64_equal(seconds("1.709330400123456789e9"), INT64_C(1709330400123456789));
    assert_int64_equal(seconds("1709330400123456789E-9"), INT64_C(1709330400123456789));
    assert_int64_equal(seconds("1276020076.00100000000000"), INT64_C(1276020076001000000));
    assert_int64_equal(seconds("-5"), -5 * NS_PER_S);
    assert_int64_equal(seconds("+0.5"), NS_PER_S / 2);
    assert_int64_equal(seconds("0e999999999999"), 0);
    assert_int64_equal(seconds("9223372036.854775807"), INT64_MAX);
    assert_int64_equal(seconds("-9223372036.854775808"), INT64_MIN);
    assert_int64_equal(seconds("0000000000000000000000000001"), NS_PER_S);
}

static void seconds_that_do_not_fit_are_refused(void **state)
{
    (void)state;
    const struct {
        const char *text;
        enum error_code code;
    } cases[] = {
        {"", ERROR_FORMAT},
        {"-", ERROR_FORMAT},
        {".5", ERROR_FORMAT},
        {"5.", ERROR_FORMAT},
        {"1e", ERROR_FORMAT},
        {"1e+", ERROR_FORMAT},
        {"1e5.5", ERROR_FORMAT},
        {"1x", ERROR_FORMAT},
        {"nan", ERROR_FORMAT},
        {"0.0000000001", ERROR_RANGE},
        {"1e-10", ERROR_RANGE},
        {"9223372036.854775808", ERROR_RANGE},
        {"1e10", ERROR_RANGE},
        {"1e400", ERROR_RANGE},
        {"1e99999999999999999999", ERROR_RANGE},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        int64_t ns = 0;
        struct error error = {0};
        if (timefmt_parse_seconds(cases[i].text, strlen(cases[i].text), &ns, &error) == 0) {
            fail_msg("taken: %s", cases[i].text);
        }
        assert_int_equal(error.code, cases[i].code);
    }
}

static void seconds_are_rounded_only_on_demand(void **state)
{
    (void)state;
    const struct {
        const char *text;
        int64_t ns;
    } cases[] = {
        {"-0.30000000000000004", -300000000},
        {"0.0000000005", 1},
        {"0.00000000049999", 0},
        {"-0.0000000005", -1},
        {"0.9999999999", NS_PER_S},
        {"1e-300", 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        int64_t ns = 77;
        const char *text = cases[i].text;
        assert_int_equal(timefmt_parse_seconds_nearest(text, strlen(text), &ns, NULL), 0);
        assert_int64_equal(ns, cases[i].ns);
    }
    int64_t ns = 0;
    assert_int_equal(timefmt_parse_seconds_nearest("1e10", 4, &ns, NULL), -1);
}

static void seconds_are_written_without_trailing_zeros(void **state)
{
    (void)state;
    const struct {
        int64_t ns;
        const char *text;
    } cases[] = {
        {0, "0"},
        {INT64_C(1709330400000000000), "1709330400"},
        {INT64_C(1709330400123456000), "1709330400.123456"},
        {1, "0.000000001"},
        {-500000000, "-0.5"},
        {INT64_C(100000000000), "100"},
        {INT64_MIN, "-9223372036.854775808"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[TIMEFMT_SIZE];
        timefmt_seconds(cases[i].ns, text);
        assert_string_equal(text, cases[i].text);
    }
}

static void local_time_carries_its_zone(void **state)
{
    (void)state;
    char text[TIMEFMT_SIZE];
    char zone[TIMEFMT_SIZE];
    (void)setenv("TZ", "XST-5:30", 1);
    tzset();
    timefmt_local(INT64_C(1709330400123999999), text, zone);
    assert_string_equal(text, "03:30:00.123");
    assert_string_equal(zone, "+05:30");
    (void)setenv("TZ", "YST3:30", 1);
    tzset();
    timefmt_local(-1, text, zone);
    assert_string_equal(text, "20:29:59.999");
    assert_string_equal(zone, "-03:30");
    timefmt_local(0, text, NULL);
    assert_string_equal(text, "20:30:00.000");
    (void)unsetenv("TZ");
    tzset();
}

/* Summer time in the European Union: from 01:00 UTC on the last Sunday of March to 01:00 UTC on the
 * last Sunday of October (Directive 2000/84/EC, articles 2 and 3). */
static void the_night_in_which_an_hour_comes_twice_is_noticed(void **state)
{
    (void)state;
    const int64_t october_ns = INT64_C(1792890000) * NS_PER_S; /* 2026-10-25T01:00:00Z */
    (void)setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3", 1);
    tzset();
    assert_int64_equal(timefmt_zone_change(october_ns - 3600 * NS_PER_S, october_ns + 5),
                       october_ns);
    assert_int64_equal(timefmt_zone_change(october_ns, october_ns + 28800 * NS_PER_S), 0);
    assert_int64_equal(timefmt_zone_change(october_ns - 3600 * NS_PER_S, 0), 0);
    (void)unsetenv("TZ");
    tzset();
}

static void durations_read_like_speech(void **state)
{
    (void)state;
    const struct {
        int64_t ns;
        const char *text;
    } cases[] = {
        {0, "0 ms"},
        {1, "under 0.001 ms"},
        {40000, "0.04 ms"},
        {250000, "0.25 ms"},
        {999600, "1 ms"},
        {12000000, "12 ms"},
        {999400000, "999 ms"},
        {999600000, "1 s"},
        {3400000000, "3.4 s"},
        {59940000000, "59.9 s"},
        {59960000000, "1 min"},
        {125000000000, "2 min 5 s"},
        {3599600000000, "1 h"},
        {28980000000000, "8 h 3 min"},
        {-3400000000, "-3.4 s"},
        {INT64_MIN, "-2562047 h 47 min"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[TIMEFMT_SIZE];
        timefmt_duration(cases[i].ns, text);
        assert_string_equal(text, cases[i].text);
    }
}

static void an_ntp_time_comes_back_to_the_nanosecond(void **state)
{
    (void)state;
    uint64_t seed = 11;
    for (int i = 0; i < 20000; i++) {
        int64_t ns = next_random(&seed) / 2;
        int64_t near_ns = ns + next_random(&seed) / 5; /* within 58 years */
        assert_int64_equal(timefmt_utc_from_ntp(timefmt_ntp_from_utc(ns), near_ns), ns);
    }
    assert_int64_equal(timefmt_utc_from_ntp(UINT64_MAX, 0), INT64_C(2085978496) * NS_PER_S);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_time_survives_text_and_back_to_the_nanosecond),
        cmocka_unit_test(the_calendar_agrees_with_the_c_library),
        cmocka_unit_test(every_spelling_that_rfc3339_allows_is_read),
        cmocka_unit_test(malformed_times_are_refused),
        cmocka_unit_test(what_int64_nanoseconds_cannot_hold_is_refused),
        cmocka_unit_test(seconds_are_read_to_the_last_digit),
        cmocka_unit_test(seconds_that_do_not_fit_are_refused),
        cmocka_unit_test(seconds_are_rounded_only_on_demand),
        cmocka_unit_test(seconds_are_written_without_trailing_zeros),
        cmocka_unit_test(local_time_carries_its_zone),
        cmocka_unit_test(the_night_in_which_an_hour_comes_twice_is_noticed),
        cmocka_unit_test(durations_read_like_speech),
        cmocka_unit_test(an_ntp_time_comes_back_to_the_nanosecond),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
