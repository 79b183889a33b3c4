/* "Which was first" against the truth, through the real detectors: a smaller bench_order.
 * Must never depend on a clock: seeded. */
#include "tests/unit/test.h"

#include "tests/bench/order_events.h"

static void stated_probabilities_come_true_as_often_as_stated(void **state)
{
    struct order_trial *trial = *state;
    struct order_tally tally = {0};
    order_trial_run(trial, 900, ORDER_APART, &tally);
    for (int d = 0; d < 10; d++) {
        const struct order_decile *decile = &tally.deciles[d];
        assert_true(decile->cases > 5);
        double low, high;
        order_decile_interval(decile, &low, &high);
        double seen = (double)decile->right / (double)decile->cases;
        if (seen < low || seen > high) {
            fail_msg("decile %d: %.3f of %zu, not %.3f to %.3f", d, seen, decile->cases, low, high);
        }
    }
    assert_true(tally.claims > 100);
    assert_true((double)tally.claims_right >= 0.94 * (double)tally.claims);
}

static void onsets_are_as_sure_as_they_say(void **state)
{
    struct order_trial *trial = *state; /* as the test before left it */
    for (int n = 0; n < ORDER_NODES; n++) {
        for (int s = 0; s < 3; s++) {
            const struct order_picks *picks = &trial->picks[n][s];
            assert_true(picks->count > 50);
            double count = (double)picks->count;
            assert_true(fabs(picks->sum_s) / count < 0.5 / order_rates_hz[n]);
            assert_true((double)picks->within >= 0.9 * count); /* two sigma: 95 % of a normal's */
            assert_true((double)picks->within_half <= 0.6 * count); /* half a sigma: 38 % */
        }
    }
}

static void simultaneous_events_get_no_order_beyond_the_error_rate(void **state)
{
    struct order_trial *trial = *state;
    struct order_tally tally = {0};
    order_trial_run(trial, 200, ORDER_SAME, &tally);
    assert_true((double)tally.claims <= (1 - ORDER_CONFIDENCE) * (double)tally.cases);
    assert_true(tally.together > 180);
}

static void mains_switched_everywhere_at_once_is_together(void **state)
{
    struct order_trial *trial = *state;
    struct order_tally tally = {0};
    order_trial_run(trial, 100, ORDER_MAINS, &tally);
    assert_true((double)tally.claims <= (1 - ORDER_CONFIDENCE) * (double)tally.cases);
    assert_true(tally.together > 90);
}

static int set_up(void **state)
{
    *state = malloc(sizeof(struct order_trial));
    return *state ? 0 : -1;
}

static int tear_down(void **state)
{
    free(*state);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(stated_probabilities_come_true_as_often_as_stated),
        cmocka_unit_test(onsets_are_as_sure_as_they_say),
        cmocka_unit_test(simultaneous_events_get_no_order_beyond_the_error_rate),
        cmocka_unit_test(mains_switched_everywhere_at_once_is_together),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
