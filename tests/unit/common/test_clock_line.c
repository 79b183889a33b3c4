/* The stated uncertainty against the truth of a seeded crystal and link: the 99 % bound (2.58
 * sigma) holds, and isn't lazy where a lesser one could do. Must never sleep or read a clock: all
 * time here is counted. */
#include "tests/unit/test.h"

#include "tests/unit/common/clock_simulator.h"

#define SPAN_NS (7200 * NS_PER_S)
#define GROWTH_PPB 100000
#define ERRORS_MAX 40000

struct tally {
    size_t count, held;
    size_t away, held_away; /* while the base station is */
    double ratio[ERRORS_MAX], error_ns[ERRORS_MAX];
    double bound_of_half[ERRORS_MAX]; /* stated over half the least possible round trip */
};

struct trial {
    struct clock_sim sim;
    int64_t start_ns;
    int64_t out_ns, back_ns; /* no exchange between */
    int64_t settled_ns;      /* counted from here on, since the start */
    int bursts;
};

static int ascending(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

static double quantile(double *values, size_t count, double share)
{
    assert_true(count > 0);
    qsort(values, count, sizeof values[0], ascending);
    return values[(size_t)(share * (double)(count - 1))];
}

static void note(struct tally *tally, struct clock_sim *sim, const struct clock_fit *fit, bool away)
{
    int64_t node_ns = sim_node_ns(sim, sim->site_ns);
    double error = fabs((double)sim_error_ns(sim, fit));
    double stated = (double)clock_fit_uncertainty_ns(fit, node_ns) * CLOCK_FIT_BOUND_PERCENT / 100;
    assert_true(tally->count < ERRORS_MAX);
    tally->ratio[tally->count] = stated / fmax(error, 1);
    tally->error_ns[tally->count] = error;
    tally->bound_of_half[tally->count] = stated * 2 / (sim->base_out_ns + sim->base_back_ns);
    tally->count++;
    tally->held += error <= stated;
    tally->away += away;
    tally->held_away += away && error <= stated;
}

/* A burst every 8 s; a look at the line some time before the next. */
static void run_trial(struct trial *trial, struct tally *tally)
{
    struct clock_sim *sim = &trial->sim;
    struct clock_fitter fitter;
    struct clock_fit fit = {0};
    struct clock_exchange burst[SIM_BURST];
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
    for (int i = 0; i < trial->bursts; i++) {
        int64_t at = trial->start_ns + i * SIM_EVERY_NS;
        bool away = at >= trial->out_ns && at < trial->back_ns;
        sim_advance(sim, at);
        size_t count = away ? 0 : sim_burst(sim, burst);
        sim_advance(sim, at + NS_PER_S);
        if (clock_fitter_add_burst(&fitter, burst, count)) {
            clock_fitter_line(&fitter, sim_node_ns(sim, sim->site_ns), &fit);
        }
        sim_advance(sim, at + NS_PER_S + (int64_t)(sim_uniform(sim) * 6.9e9));
        if (fit.known && at - trial->start_ns >= trial->settled_ns) {
            note(tally, sim, &fit, away);
        }
    }
}

static struct trial begin(struct clock_sim sim, int bursts)
{
    return (struct trial){.sim = sim,
                          .start_ns = sim.site_ns,
                          .out_ns = INT64_MAX,
                          .back_ns = INT64_MAX,
                          .bursts = bursts};
}

/* The base station is away for half an hour while the room changes by five degrees. */
static void send_away(struct trial *trial)
{
    trial->out_ns = trial->start_ns + 900 * NS_PER_S;
    trial->back_ns = trial->out_ns + 1800 * NS_PER_S;
    trial->sim.change_ns = trial->out_ns;
    trial->sim.change_cel = sim_uniform(&trial->sim) < 0.5 ? 5 : -5;
}

static struct tally tally;

static void the_99_percent_bound_holds_under_one_sided_delay_loss_and_drift(void **state)
{
    (void)state;
    tally = (struct tally){0};
    for (uint64_t seed = 1; seed <= 60; seed++) {
        struct trial trial = begin(sim_wireless(seed), 450);
        if (seed % 2) {
            send_away(&trial);
        }
        run_trial(&trial, &tally);
    }
    double ratio = quantile(tally.ratio, tally.count, 0.5);
    print_message("one-sided delay to 300 ms: %.2f %% held, median stated/true %.2f\n",
                  100 * (double)tally.held / (double)tally.count, ratio);
    assert_true((double)tally.held >= 0.99 * (double)tally.count);
    assert_true(ratio < 5);
}

static void after_half_an_hour_alone_and_five_degrees_the_truth_is_inside(void **state)
{
    (void)state;
    tally = (struct tally){0};
    for (uint64_t seed = 100; seed < 160; seed++) {
        struct trial trial = begin(seed % 2 ? sim_wired(seed) : sim_wireless(seed), 340);
        send_away(&trial);
        run_trial(&trial, &tally);
    }
    assert_true(tally.away > 60 * 220);
    assert_int_equal(tally.held_away, tally.away);
    assert_true((double)tally.held >= 0.99 * (double)tally.count);
}

static void on_a_quiet_wire_99_percent_are_within_100_us_after_five_minutes(void **state)
{
    (void)state;
    tally = (struct tally){0};
    for (uint64_t seed = 200; seed < 230; seed++) {
        struct trial trial = begin(sim_wired(seed), 300);
        trial.settled_ns = 300 * NS_PER_S;
        run_trial(&trial, &tally);
    }
    double bound = quantile(tally.bound_of_half, tally.count, 0.5);
    double most = quantile(tally.error_ns, tally.count, 0.99);
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
    tally = (struct tally){0};
    for (uint64_t seed = 300; seed < 320; seed++) {
        struct clock_sim sim = sim_crystal(seed);
        sim.base_out_ns = sim.base_back_ns = 300e3;
        sim.doze_back_ns = 300e6;
        sim.doze_out_ns = seed % 2 ? 300e6 : 0;
        sim.doze_share = 0.97;
        sim.dozing = true;
        sim.loss = 0.05;
        struct trial trial = begin(sim, 300);
        run_trial(&trial, &tally);
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
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
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
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
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
