/* Onset rates: what was seen, and what was asked for while that says little; never the coincidence
 * itself.
 * Must never use a node of another test. */
#include "tests/unit/correlate/house.h"

#include "collector/correlate/rates.h"
#include "collector/correlate/slides.h"

#define HOUR 3600.0

static struct house house;

static struct rates *make_rates(void)
{
    struct rates *rates = NULL;
    struct error error;
    house_build(&house, 2);
    assert_int_equal(rates_new(&house.site, house_away(&house.site), &rates, &error), 0);
    assert_int_equal(rates_watch(rates, 0, "magnetic", HOUSE_T0, &error), 0);
    assert_int_equal(rates_watch(rates, 0, "electric", HOUSE_T0, &error), 0);
    return rates;
}

/* One node's rate of one trait, an hour. */
static double per_hour(const struct rates *rates, double at, const struct disturbance *members,
                       size_t member_count, uint32_t node, unsigned trait)
{
    const struct disturbance *list[4] = {&members[0], &members[1]};
    struct accidental_stream streams[2 * RATES_TRAITS];
    size_t count = rates_streams(rates, at_s(at), members ? list : NULL, member_count, streams);
    for (size_t i = 0; i < count; i++) {
        if (streams[i].node == node && streams[i].trait == trait) {
            return streams[i].hz * HOUR;
        }
    }
    return 0.0;
}

/* Half an onset an hour is asked for; the whole site's two streams count as seen for 10 min. */
static double liveliness(double onsets, double seconds)
{
    return fmin(RATES_LIVELIEST, (onsets + RATES_ALLOWED + 2 * RATES_SITE_PRIOR_S * 0.5 / HOUR) /
                                     (2 * (RATES_SITE_PRIOR_S + seconds) * 0.5 / HOUR));
}

static void a_node_starts_from_what_was_asked_for_and_is_believed_with_time(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    double usual = 0.5 * liveliness(0, 4.0 * HOUR);
    assert_close(per_hour(rates, 4.0 * HOUR, NULL, 0, 0, SLIDES_MAGNETIC), usual / 5.0, 1e-12);
    assert_close(per_hour(rates, 4.0 * HOUR, NULL, 0, 0, 0), usual / 5.0, 1e-12);
    assert_close(per_hour(rates, 4.0 * HOUR, NULL, 0, 1, 0), 0.0, 0.0);
    rates_free(rates);
}

static void a_busy_stream_has_the_rate_that_was_seen_and_the_others_do_not(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    struct error error;
    for (int i = 0; i < 100; i++) {
        struct disturbance seen = house_see(0, QUANTITY_MAGNETIC, 100.0 * i);
        assert_int_equal(rates_count(rates, &seen, &error), 0);
    }
    double usual = 0.5 * liveliness(100, 9.0 * HOUR);
    assert_close(per_hour(rates, 9.0 * HOUR, NULL, 0, 0, SLIDES_MAGNETIC), (100 + usual) / 10.0,
                 1e-9);
    assert_close(per_hour(rates, 9.0 * HOUR, NULL, 0, 0, 0), usual / 10.0, 1e-9);
    rates_free(rates);
}

static void a_coincidence_does_not_count_against_itself(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    struct error error;
    struct disturbance seen[2] = {house_see(0, QUANTITY_MAGNETIC, 10.0),
                                  house_see(0, QUANTITY_ELECTRIC, 10.0)};
    assert_int_equal(rates_count(rates, &seen[0], &error), 0);
    assert_int_equal(rates_count(rates, &seen[1], &error), 0);
    double alone = per_hour(rates, 20.0, seen, 2, 0, 0);
    assert_close(alone, 0.5 * liveliness(0, 20.0) * 3600.0 / 3620.0, 1e-9);
    assert_true(per_hour(rates, 20.0, seen, 1, 0, 0) > alone + 0.9);
    rates_free(rates);
}

static void what_is_not_watched_yet_counts_from_its_first_onset(void **state)
{
    (void)state;
    struct rates *rates = make_rates();
    struct error error;
    struct disturbance seen = house_see(1, QUANTITY_MOTION, 10.0);
    assert_int_equal(rates_count(rates, &seen, &error), 0);
    assert_true(per_hour(rates, 10.0, NULL, 0, 1, SLIDES_MOTION) > 1.0);
    assert_close(per_hour(rates, 10.0, NULL, 0, 1, SLIDES_SLOW), 0.0, 0.0);
    rates_free(rates);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_node_starts_from_what_was_asked_for_and_is_believed_with_time),
        cmocka_unit_test(a_busy_stream_has_the_rate_that_was_seen_and_the_others_do_not),
        cmocka_unit_test(a_coincidence_does_not_count_against_itself),
        cmocka_unit_test(what_is_not_watched_yet_counts_from_its_first_onset),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
