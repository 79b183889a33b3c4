/* That nights are compared without claiming more than they carry.
 * Must never depend on chance: seeds are fixed. */
#include "tests/unit/test.h"

#include <math.h>

#include "collector/compare/appliance.h"
#include "collector/compare/rates.h"
#include "collector/compare/turned.h"
#include "collector/model/splitmix.h"

#define NIGHT_S 28800.0
#define CLOCK_S 79200.0 /* 22:00 */

static struct turned_result test_nights(const struct turned_night *nights, size_t count,
                                        double window_s)
{
    struct turned_result result;
    struct error error;
    assert_int_equal(turned_test(nights, count, window_s, &result, &error), 0);
    return result;
}

/* A timer at 03:10 in five nights that began at different times, beside what comes at random. */
static void a_timer_shows_itself_and_its_clock_time_is_told(void **state)
{
    (void)state;
    double after_s[5][4];
    struct turned_night nights[5];
    uint64_t random = 11;
    for (size_t i = 0; i < 5; i++) {
        double start_s = CLOCK_S - 600.0 * (double)i;
        for (size_t j = 0; j < 3; j++) {
            after_s[i][j] = splitmix_part(&random) * NIGHT_S;
        }
        after_s[i][3] = 86400.0 + 3 * 3600 + 600 - start_s + 10.0 * (double)i;
        nights[i] = (struct turned_night){start_s, NIGHT_S, after_s[i], 4};
    }
    struct turned_result found = test_nights(nights, 5, 120);
    assert_int_equal(found.nights, 5);
    assert_int_equal(found.which, 31);
    assert_close(found.from_clock_s, 3 * 3600 + 600, 1e-6);
    assert_close(found.to_clock_s, 3 * 3600 + 640, 1e-6);
    assert_true(found.p_value < 0.001);
}

/* Around midnight the clock goes on. */
static void midnight_is_no_border(void **state)
{
    (void)state;
    const double before[] = {7190}; /* 23:59:50 */
    const double after[] = {7210};
    const struct turned_night nights[] = {{CLOCK_S, NIGHT_S, before, 1},
                                          {CLOCK_S, NIGHT_S, after, 1}};
    struct turned_result found = test_nights(nights, 2, 60);
    assert_int_equal(found.nights, 2);
    assert_close(found.from_clock_s, 86390, 1e-6);
    assert_close(found.to_clock_s, 10, 1e-6);
}

static void a_row_within_one_night_is_no_repeat(void **state)
{
    (void)state;
    const double row[] = {100, 110, 120, 130, 140, 150};
    const struct turned_night nights[] = {{CLOCK_S, NIGHT_S, row, 6}, {CLOCK_S, NIGHT_S, NULL, 0}};
    struct turned_result found = test_nights(nights, 2, 120);
    assert_int_equal(found.nights, 1);
    assert_close(found.p_value, 1, 0);
    const struct turned_night none[] = {{CLOCK_S, NIGHT_S, NULL, 0}};
    assert_int_equal(test_nights(none, 1, 120).nights, 0);
}

/* Nights of chance alone, with events in rows and many of them or few: at most 5 in 100 at 5 %. */
static void chance_alone_is_claimed_no_more_often_than_said(void **state)
{
    (void)state;
    uint64_t random = 5;
    size_t claimed = 0;
    for (size_t set = 0; set < 400; set++) {
        double after_s[4][12];
        struct turned_night nights[4];
        for (size_t i = 0; i < 4; i++) {
            size_t count = 3 * (1 + (size_t)(splitmix_part(&random) * 4));
            for (size_t j = 0; j < count; j++) {
                after_s[i][j] = j % 3 == 0 ? splitmix_part(&random) * (NIGHT_S - 200)
                                           : after_s[i][j - 1] + 40 * splitmix_part(&random);
            }
            nights[i] =
                (struct turned_night){CLOCK_S - 900.0 * (double)i, NIGHT_S, after_s[i], count};
        }
        claimed += test_nights(nights, 4, 120).p_value <= 0.05;
    }
    assert_true(claimed <= 29); /* binomial, 400 times 0.05: more once in 50 times */
}

static void one_night_that_stands_out_is_told_with_how_often_chance_does_it(void **state)
{
    (void)state;
    const uint32_t counts[] = {1, 9, 1, 1};
    const double watched_s[] = {NIGHT_S, NIGHT_S, NIGHT_S, NIGHT_S};
    size_t which = 0;
    /* 4 * P(X >= 9), X binomial of 12 trials at 1/4: scipy.stats.binom.sf(8, 12, 0.25). */
    assert_close(rates_busiest(counts, watched_s, 4, &which), 4 * 3.916621e-4, 1e-9);
    assert_int_equal(which, 1);
    const uint32_t none[] = {0, 0};
    assert_close(rates_busiest(none, watched_s, 2, &which), 1, 0);
}

static void many_questions_make_each_answer_weaker(void **state)
{
    (void)state;
    double p[] = {0.01, 0.04, 0.03, 0.005}; /* Holm: 0.03, 0.06, 0.06, 0.02 */
    rates_holm(p, 4);
    assert_close(p[0], 0.03, 1e-12);
    assert_close(p[1], 0.06, 1e-12);
    assert_close(p[2], 0.06, 1e-12);
    assert_close(p[3], 0.02, 1e-12);
}

static void switchings_of_one_appliance_are_one_group_on_or_off_and_others_are_not(void **state)
{
    (void)state;
    struct appliance_step steps[] = {
        {.at_node = {100e-9F, 30e-9F, 5e-9F}, .nodes = 7},
        {.at_node = {-98e-9F, -32e-9F, -5e-9F}, .nodes = 7}, /* off */
        {.at_node = {104e-9F, 29e-9F}, .nodes = 3},          /* a night without the third node */
        {.at_node = {10e-9F, 80e-9F, 60e-9F}, .nodes = 7},   /* another */
        {.at_node = {40e-9F, 12e-9F, 2e-9F}, .nodes = 7},    /* as the first, but weaker */
        {.at_node = {0}, .nodes = 7},
    };
    assert_int_equal(appliance_group(steps, 6), 3);
    assert_int_equal(steps[0].group, steps[1].group);
    assert_int_equal(steps[0].group, steps[2].group);
    assert_int_equal(steps[0].group, 0); /* the strongest */
    assert_int_not_equal(steps[3].group, steps[0].group);
    assert_int_not_equal(steps[4].group, steps[0].group);
    assert_int_not_equal(steps[4].group, steps[3].group);
    assert_int_equal(steps[5].group, -1);
    assert_int_equal(appliance_strongest(&steps[3]), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_timer_shows_itself_and_its_clock_time_is_told),
        cmocka_unit_test(midnight_is_no_border),
        cmocka_unit_test(a_row_within_one_night_is_no_repeat),
        cmocka_unit_test(chance_alone_is_claimed_no_more_often_than_said),
        cmocka_unit_test(one_night_that_stands_out_is_told_with_how_often_chance_does_it),
        cmocka_unit_test(many_questions_make_each_answer_weaker),
        cmocka_unit_test(switchings_of_one_appliance_are_one_group_on_or_off_and_others_are_not),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
