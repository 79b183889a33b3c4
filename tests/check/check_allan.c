/* The deviations of a clock against NIST Special Publication 1065 "Handbook of Frequency Stability
 * Analysis" (W. J. Riley, 2008), sec. 12.4, pp. 107-108: the small set (from NBS Monograph 140,
 * Annex 8.E, 1974) and the set of 1000 points; noise slopes by the same, Table 2, from memory. */
#include "tests/unit/test.h"

#include "common/allan.h"

#define SMALL_COUNT 9
#define LARGE_COUNT 1000
#define TOLERANCE 1e-6 /* relative; printed to seven digits */

static const double small_set[SMALL_COUNT] = {892, 809, 823, 798, 671, 644, 883, 903, 677};

struct expected {
    enum allan_kind kind;
    size_t m;
    double value;
};

/* Frequency values become phases, the running sum; the mean plays no part. */
static void make_phases(const double *frequencies, size_t count, double *phases)
{
    phases[0] = 0;
    for (size_t i = 0; i < count; i++) {
        phases[i + 1] = phases[i] + frequencies[i];
    }
}

static void expect_all(const double *phases, size_t count, const struct expected *expected,
                       size_t rows)
{
    for (size_t i = 0; i < rows; i++) {
        double value = 0;
        assert_int_equal(allan_deviation(expected[i].kind, phases, count, 1, expected[i].m, &value),
                         0);
        assert_close(value, expected[i].value, TOLERANCE * expected[i].value);
    }
}

static void the_small_set_gives_what_is_printed(void **state)
{
    (void)state;
    static const struct expected expected[] = {
        {ALLAN_PLAIN, 1, 91.22945},      {ALLAN_PLAIN, 2, 115.8082},
        {ALLAN_OVERLAPPED, 1, 91.22945}, {ALLAN_OVERLAPPED, 2, 85.95287},
        {ALLAN_MODIFIED, 1, 91.22945},   {ALLAN_MODIFIED, 2, 74.78849},
        {ALLAN_TIME, 1, 52.67135},       {ALLAN_TIME, 2, 86.35831},
        {ALLAN_HADAMARD, 1, 70.80607},   {ALLAN_HADAMARD, 2, 85.61487},
    };
    double phases[SMALL_COUNT + 1];
    make_phases(small_set, SMALL_COUNT, phases);
    expect_all(phases, SMALL_COUNT + 1, expected, sizeof expected / sizeof expected[0]);
    /* The same set as printed with its mean frequency removed, 788.8889. */
    for (size_t i = 0; i <= SMALL_COUNT; i++) {
        phases[i] -= (double)i * 7100 / 9;
    }
    assert_close(phases[1], 103.11111, 1e-5);
    assert_close(phases[6], -96.33333, 1e-5);
    assert_close(phases[9], 0, 1e-5);
    expect_all(phases, SMALL_COUNT + 1, expected, sizeof expected / sizeof expected[0]);
}

/* n' = 16807 n mod (2^31 - 1) (S. Park, K. Miller, Comm. ACM 31, 1988): seed 1 gives 1043618065
 * after 10,000 steps. */
static int64_t next_number(int64_t n)
{
    return 16807 * n % INT64_C(2147483647);
}

static void the_set_of_a_thousand_gives_what_is_printed(void **state)
{
    (void)state;
    static const struct expected expected[] = {
        {ALLAN_PLAIN, 1, 2.922319e-1},       {ALLAN_PLAIN, 10, 9.965736e-2},
        {ALLAN_PLAIN, 100, 3.897804e-2},     {ALLAN_OVERLAPPED, 1, 2.922319e-1},
        {ALLAN_OVERLAPPED, 10, 9.159953e-2}, {ALLAN_OVERLAPPED, 100, 3.241343e-2},
        {ALLAN_MODIFIED, 1, 2.922319e-1},    {ALLAN_MODIFIED, 10, 6.172376e-2},
        {ALLAN_MODIFIED, 100, 2.170921e-2},  {ALLAN_TIME, 1, 1.687202e-1},
        {ALLAN_TIME, 10, 3.563623e-1},       {ALLAN_TIME, 100, 1.253382},
        {ALLAN_HADAMARD, 1, 2.943883e-1},    {ALLAN_HADAMARD, 10, 9.581083e-2},
        {ALLAN_HADAMARD, 100, 3.237638e-2},
    };
    double frequencies[LARGE_COUNT];
    double phases[LARGE_COUNT + 1];
    int64_t n = 1;
    for (int i = 0; i < 10000; i++) {
        n = next_number(n);
    }
    assert_int64_equal(n, 1043618065);
    n = 1234567890;
    for (size_t i = 0; i < LARGE_COUNT; i++) {
        frequencies[i] = (double)n / 2147483647.0;
        if (i == LARGE_COUNT - 1) {
            assert_int64_equal(n, 1560135652);
        }
        n = next_number(n);
    }
    make_phases(frequencies, LARGE_COUNT, phases);
    expect_all(phases, LARGE_COUNT + 1, expected, sizeof expected / sizeof expected[0]);
}

/* White frequency noise falls as tau^(-1/2); so does that of the thousand, within its few degrees
 * of freedom. A steady drift rises as tau, and the third difference does not see it. */
static void slopes_are_those_of_the_noise(void **state)
{
    (void)state;
    double phases[257];
    double at_one = 0, at_ten = 0, unseen = 1;
    for (size_t i = 0; i < 257; i++) {
        phases[i] = 0.5e-9 * (double)i * (double)i;
    }
    assert_int_equal(allan_deviation(ALLAN_OVERLAPPED, phases, 257, 1, 1, &at_one), 0);
    assert_int_equal(allan_deviation(ALLAN_OVERLAPPED, phases, 257, 1, 10, &at_ten), 0);
    assert_int_equal(allan_deviation(ALLAN_HADAMARD, phases, 257, 1, 10, &unseen), 0);
    assert_close(at_ten / at_one, 10, 1e-6);
    assert_close(unseen, 0, 1e-15);
}

static void too_few_phases_give_none(void **state)
{
    (void)state;
    static const double phases[7] = {0};
    double value = 5;
    assert_int_equal(allan_deviation(ALLAN_OVERLAPPED, phases, 2, 1, 1, &value), -1);
    assert_int_equal(allan_deviation(ALLAN_OVERLAPPED, phases, 7, 1, 0, &value), -1);
    assert_int_equal(allan_deviation(ALLAN_OVERLAPPED, phases, 7, 1, 4, &value), -1);
    assert_int_equal(allan_deviation(ALLAN_MODIFIED, phases, 5, 1, 2, &value), -1);
    assert_int_equal(allan_deviation(ALLAN_HADAMARD, phases, 6, 1, 2, &value), -1);
    assert_int_equal(allan_deviation(ALLAN_HADAMARD, phases, 7, 0, 1, &value), -1);
    assert_int_equal(allan_deviation(ALLAN_PLAIN, phases, 7, 1, SIZE_MAX, &value), -1);
    assert_close(value, 5, 0);
    assert_int_equal(allan_deviation(ALLAN_OVERLAPPED, phases, 3, 1, 1, &value), 0);
    assert_int_equal(allan_deviation(ALLAN_MODIFIED, phases, 3, 1, 1, &value), 0);
    assert_int_equal(allan_deviation(ALLAN_HADAMARD, phases, 4, 1, 1, &value), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_small_set_gives_what_is_printed),
        cmocka_unit_test(the_set_of_a_thousand_gives_what_is_printed),
        cmocka_unit_test(slopes_are_those_of_the_noise),
        cmocka_unit_test(too_few_phases_give_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
