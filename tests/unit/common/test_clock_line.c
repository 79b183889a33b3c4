/* The stated uncertainty against the truth of a seeded crystal and link: the 99 % bound (2.58
 * sigma) holds, and isn't lazy where a lesser one could do. Must never sleep or read a clock: all
 * time here is counted. */
#include "tests/unit/test.h"

#include "tests/unit/common/clock_trial.h"

static struct trial_tally tally;

static void the_99_percent_bound_holds_under_one_sided_delay_loss_and_drift(void **state)
{
    (void)state;
    tally = (struct trial_tally){0};
    for (uint64_t seed = 1; seed <= 60; seed++) {
        struct trial trial = trial_begin(sim_wireless(seed), 450);
        if (seed % 2) {
            trial_send_away(&trial);
        }
        trial_run(&trial, &tally);
    }
    double ratio = trial_quantile(tally.ratio, tally.count, 0.5);
    print_message("one-sided delay to 300 ms: %.2f %% held, median stated/true %.2f\n",
                  100 * (double)tally.held / (double)tally.count, ratio);
    assert_true((double)tally.held >= 0.99 * (double)tally.count);
    assert_true(ratio < 5);
}

static void after_half_an_hour_alone_and_five_degrees_the_truth_is_inside(void **state)
{
    (void)state;
    tally = (struct trial_tally){0};
    for (uint64_t seed = 100; seed < 160; seed++) {
        struct trial trial = trial_begin(seed % 2 ? sim_wired(seed) : sim_wireless(seed), 340);
        trial_send_away(&trial);
        trial_run(&trial, &tally);
    }
    assert_true(tally.away > 60 * 220);
    assert_int_equal(tally.held_away, tally.away);
    assert_true((double)tally.held >= 0.99 * (double)tally.count);
}

static void on_a_quiet_wire_99_percent_are_within_100_us_after_five_minutes(void **state)
{
    (void)state;
    tally = (struct trial_tally){0};
    for (uint64_t seed = 200; seed < 230; seed++) {
        struct trial trial = trial_begin(sim_wired(seed), 300);
        trial.settled_ns = 300 * NS_PER_S;
        trial_run(&trial, &tally);
    }
    double bound = trial_quantile(tally.bound_of_half, tally.count, 0.5);
    double most = trial_quantile(tally.error_ns, tally.count, 0.99);
    print_message("quiet wire: 99 %% of errors below %.1f us; bound %.2f of half a round trip\n",
                  most / 1e3, bound);
    assert_true(most < 100e3);
    assert_int_equal(tally.held, tally.count);
    /* What uneven ways may hide is all that the bound holds, but for some microseconds. */
    assert_true(bound < 2);
}

/* Every burst sleeps, so that nothing ever shows the least delay. */
static void a_link_that_always_dozes_is_still_held(void **state)
{
    (void)state;
    tally = (struct trial_tally){0};
    for (uint64_t seed = 300; seed < 320; seed++) {
        struct clock_sim sim = sim_crystal(seed);
        sim.base_out_ns = sim.base_back_ns = 300e3;
        sim.doze_back_ns = 300e6;
        sim.doze_out_ns = seed % 2 ? 300e6 : 0;
        sim.doze_share = 0.97;
        sim.dozing = true;
        sim.loss = 0.05;
        struct trial trial = trial_begin(sim, 300);
        trial_run(&trial, &tally);
    }
    assert_true((double)tally.held >= 0.99 * (double)tally.count);
}

static void a_rate_that_turns_with_the_temperature_is_followed(void **state)
{
    (void)state;
    struct clock_sim sim = sim_wired(7);
    struct trial trial = {.start_ns = sim.site_ns};
    struct clock_fitter fitter;
    struct clock_fit fit;
    struct clock_exchange burst[SIM_BURST];
    sim.slope_ppm = 1; /* far more than a real one: a degree a minute */
    sim.parabola_ppm = 0;
    sim.swing_cel = 5;
    sim.swing_s = 1800;
    clock_fitter_init(&fitter, TRIAL_SPAN_NS, TRIAL_CRYSTAL_PPB);
    for (int i = 0; i < 400; i++) {
        sim_advance(&sim, trial.start_ns + i * SIM_EVERY_NS);
        size_t count = sim_burst(&sim, burst);
        sim_advance(&sim, sim.site_ns + NS_PER_S);
        assert_true(clock_fitter_add_burst(&fitter, burst, count));
        clock_fitter_line(&fitter, sim_node_ns(&sim, sim.site_ns), &fit);
        if (i > 40) {
            double rate_ppm = (1 / (1 + sim.rate) - 1) * 1e6;
            assert_close((double)fit.rate_ppt / 1e6, rate_ppm, 1.5);
            assert_close((double)sim_error_ns(&sim, &fit), 0, 30e3);
        }
    }
}

static void question_and_answer_may_come_from_different_exchanges(void **state)
{
    (void)state;
    /* 1 ms each way; the first waits 50 ms on its way back, the second 40 ms on its way there. */
    struct clock_exchange burst[] = {
        {.t1_ns = 0, .t2_ns = 1000000, .t3_ns = 1000000, .t4_ns = 52000000},
        {.t1_ns = 30000000, .t2_ns = 71000000, .t3_ns = 71000000, .t4_ns = 72000000},
    };
    struct clock_fitter fitter;
    struct clock_fit fit;
    clock_fitter_init(&fitter, TRIAL_SPAN_NS, TRIAL_CRYSTAL_PPB);
    struct clock_exchange last;
    assert_int_equal(clock_fitter_recent(&fitter, &last, 1), 0);
    assert_true(clock_fitter_add_burst(&fitter, burst, 2));
    assert_int_equal(clock_fitter_recent(&fitter, &last, 1), 1);
    assert_int64_equal(clock_exchange_delay_ns(&last), 2000000);
    clock_fitter_line(&fitter, 36000000, &fit);
    assert_int64_equal(fit.offset_ns, 0);
    assert_true(fit.uncertainty_ns < 600000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_99_percent_bound_holds_under_one_sided_delay_loss_and_drift),
        cmocka_unit_test(after_half_an_hour_alone_and_five_degrees_the_truth_is_inside),
        cmocka_unit_test(on_a_quiet_wire_99_percent_are_within_100_us_after_five_minutes),
        cmocka_unit_test(a_link_that_always_dozes_is_still_held),
        cmocka_unit_test(a_rate_that_turns_with_the_temperature_is_followed),
        cmocka_unit_test(question_and_answer_may_come_from_different_exchanges),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
