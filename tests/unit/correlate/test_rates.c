/* Onset rates: what was asked at least, what was seen if more, never the coincidence itself.
 * Must never use a node of another test. */
#include "tests/unit/correlate/house.h"

#include "collector/correlate/rates.h"

#define HOUR 3600.0

static struct house house;

static struct rates *make_rates(void)
{
    struct rates *rates = NULL;
    struct error error;
    house_build(&house, 2);
    assert_int_equal(rates_new(&house.site, &rates, &error), 0);
    assert_int_equal(rates_watch(rates, 0, "magnetic", HOUSE_T0, &error), 0);
    assert_int_equal(rates_watch(rates, 0, "electric", HOUSE_T0, &error), 0);
    return rates;
}

static void a_quiet_node_has_the_asked_rate_for_each_quantity(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    double hz[2];
    rates_nodes(rates, at_s(4.0 * HOUR), NULL, 0, hz);
    assert_close(hz[0] * HOUR, 2 * 0.5, 1e-12);
    assert_close(hz[1], 0.0, 0.0);
    rates_free(rates);
}

static void a_busy_node_has_the_rate_that_was_seen(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    struct error error;
    double hz[2];
    for (int i = 0; i < 100; i++) {
        struct disturbance seen = house_see(0, QUANTITY_MAGNETIC, 100.0 * i);
        assert_int_equal(rates_count(rates, &seen, &error), 0);
    }
    /* 100 onsets in 9 h, and half an onset asked for in the hour that counts before. */
    rates_nodes(rates, at_s(9.0 * HOUR), NULL, 0, hz);
    assert_close(hz[0] * HOUR, 100.5 / 10.0 + 0.5, 1e-9);
    rates_free(rates);
}

static void a_coincidence_does_not_count_against_itself(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    struct error error;
    double hz[2];
    struct disturbance seen[2] = {house_see(0, QUANTITY_MAGNETIC, 10.0),
                                  house_see(0, QUANTITY_ELECTRIC, 10.0)};
    assert_int_equal(rates_count(rates, &seen[0], &error), 0);
    assert_int_equal(rates_count(rates, &seen[1], &error), 0);
    const struct disturbance *const members[2] = {&seen[0], &seen[1]};
    rates_nodes(rates, at_s(20.0), members, 2, hz);
    assert_close(hz[0] * HOUR, 1.0, 1e-12);
    rates_nodes(rates, at_s(20.0), members, 1, hz);
    assert_close(hz[0] * HOUR, 0.5 + 1.5 * 3600.0 / 3620.0, 1e-9);
    rates_free(rates);
}

static void what_is_not_watched_yet_counts_from_its_first_onset(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    struct error error;
    double hz[2];
    struct disturbance seen = house_see(1, QUANTITY_MOTION, 10.0);
    assert_int_equal(rates_count(rates, &seen, &error), 0);
    rates_nodes(rates, at_s(10.0), NULL, 0, hz);
    assert_close(hz[1] * HOUR, 1.5, 1e-9);
    rates_free(rates);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_quiet_node_has_the_asked_rate_for_each_quantity),
        cmocka_unit_test(a_busy_node_has_the_rate_that_was_seen),
        cmocka_unit_test(a_coincidence_does_not_count_against_itself),
        cmocka_unit_test(what_is_not_watched_yet_counts_from_its_first_onset),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
