/* Times against published values: RFC 3339 (2002), its examples from memory, and RFC 5905 (2010)
 * Fig. 4, its row of 1972 from memory.
 * Must never read a clock.
 * Run by ctest. */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "common/timefmt.h"

static int64_t parsed(const char *text)
{
    int64_t ns = 0;
    struct error error;
    if (timefmt_parse_rfc3339(text, strlen(text), &ns, &error)) {
        fail_msg("%s: %s", text, error.text);
    }
    return ns;
}

static void assert_written(int64_t ns, const char *expected)
{
    char text[TIMEFMT_SIZE];
    timefmt_rfc3339(ns, text);
    assert_string_equal(text, expected);
}

/* RFC 3339 (2002) sec. 5.8, the five examples in its order; the equivalents in UTC are stated there
 * too, or follow from the stated offset. */
static void rfc3339_examples_mean_what_section_5_8_says(void **state)
{
    (void)state;
    assert_written(parsed("1985-04-12T23:20:50.52Z"), "1985-04-12T23:20:50.520000000Z");
    assert_int64_equal(parsed("1985-04-12T23:20:50.52Z"), INT64_C(482196050520000000));
    assert_int64_equal(parsed("1996-12-19T16:39:57-08:00"), parsed("1996-12-20T00:39:57Z"));
    assert_int64_equal(parsed("1990-12-31T15:59:60-08:00"), parsed("1990-12-31T23:59:60Z"));
    assert_written(parsed("1937-01-01T12:00:27.87+00:20"), "1937-01-01T11:40:27.870000000Z");
}

/* RFC 3339 (2002) sec. 5.7 and 5.8: the leap second at the end of 1990 is legal. POSIX time has no
 * number of its own for it; here it is the first second of 1991. */
static void rfc3339_leap_second_is_read_as_the_first_second_of_the_next_minute(void **state)
{
    (void)state;
    assert_int64_equal(parsed("1990-12-31T23:59:60Z"), parsed("1991-01-01T00:00:00Z"));
    assert_int64_equal(parsed("1990-12-31T23:59:60.25Z"), parsed("1991-01-01T00:00:00.25Z"));
}

/* RFC 3339 (2002) sec. 4.3 and 5.6: "-00:00" is UTC with an unknown local offset; "T" and "Z" may
 * be lower case and a space may stand for the "T". */
static void rfc3339_notes_of_section_5_6_hold(void **state)
{
    (void)state;
    assert_int64_equal(parsed("1985-04-12t23:20:50.52z"), parsed("1985-04-12 23:20:50.52-00:00"));
}

/* RFC 5905 (2010) Fig. 4, the rows of 1900 to 2036: date, era, seconds of the era. */
static const struct {
    const char *date;
    int64_t era;
    uint32_t seconds;
} figure_4[] = {
    {"1900-01-01T00:00:00Z", 0, 0},          {"1970-01-01T00:00:00Z", 0, 2208988800},
    {"1972-01-01T00:00:00Z", 0, 2272060800}, {"1999-12-31T00:00:00Z", 0, 3155587200},
    {"2036-02-08T00:00:00Z", 1, 63104},
};

static void rfc5905_figure_4_epochs_hold_in_both_directions(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof figure_4 / sizeof figure_4[0]; i++) {
        int64_t utc_ns = parsed(figure_4[i].date);
        uint64_t ntp = (uint64_t)figure_4[i].seconds << 32;
        assert_true(timefmt_ntp_from_utc(utc_ns) == ntp);
        assert_int64_equal(timefmt_utc_from_ntp(ntp, utc_ns + 1000 * NS_PER_S), utc_ns);
        assert_int64_equal(utc_ns / NS_PER_S + 2208988800,
                           figure_4[i].era * (INT64_C(1) << 32) + figure_4[i].seconds);
    }
}

/* From RFC 5905 (2010) Fig. 4 by computation: era 1 begins 63 104 s before 8 February 2036. Sec. 6:
 * a pair that straddles the wrap must still subtract rightly. */
static void rfc5905_wrap_of_2036_is_passed_without_a_step(void **state)
{
    (void)state;
    int64_t wrap_ns = parsed("2036-02-07T06:28:16Z");
    assert_true(timefmt_ntp_from_utc(wrap_ns) == 0);
    uint64_t before = timefmt_ntp_from_utc(wrap_ns - NS_PER_S / 2);
    uint64_t after = timefmt_ntp_from_utc(wrap_ns + NS_PER_S / 2);
    assert_true(before == UINT64_C(0xffffffff80000000));
    assert_true(after == UINT64_C(0x0000000080000000));
    assert_true(after - before == UINT64_C(1) << 32);
    assert_int64_equal(timefmt_utc_from_ntp(after, wrap_ns - NS_PER_S), wrap_ns + NS_PER_S / 2);
    assert_int64_equal(timefmt_utc_from_ntp(before, wrap_ns + NS_PER_S), wrap_ns - NS_PER_S / 2);
}

/* RFC 5905 (2010) sec. 6: the fraction's unit is 2^-32 s, about 233 ps; half a second is 2^31. */
static void rfc5905_fraction_resolves_the_nanosecond(void **state)
{
    (void)state;
    assert_true((timefmt_ntp_from_utc(NS_PER_S / 2) & UINT32_MAX) == UINT32_C(0x80000000));
    assert_true((timefmt_ntp_from_utc(1) & UINT32_MAX) == 4); /* 4.29, the nearest */
    assert_true((timefmt_ntp_from_utc(2) & UINT32_MAX) == 9); /* 8.59 */
    for (int64_t ns = 0; ns < NS_PER_S; ns += 7919) {
        int64_t utc_ns = INT64_C(1709330400) * NS_PER_S + ns;
        assert_int64_equal(timefmt_utc_from_ntp(timefmt_ntp_from_utc(utc_ns), 0), utc_ns);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rfc3339_examples_mean_what_section_5_8_says),
        cmocka_unit_test(rfc3339_leap_second_is_read_as_the_first_second_of_the_next_minute),
        cmocka_unit_test(rfc3339_notes_of_section_5_6_hold),
        cmocka_unit_test(rfc5905_figure_4_epochs_hold_in_both_directions),
        cmocka_unit_test(rfc5905_wrap_of_2036_is_passed_without_a_step),
        cmocka_unit_test(rfc5905_fraction_resolves_the_nanosecond),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
