/* The clock line finds offset and rate, and its uncertainty covers the true error.
 * Must never sleep or read a clock: all time here is counted. */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "common/clock_fit.h"

#define SPAN_NS (900 * NS_PER_S)
#define GROWTH_PPB 100000
#define BURST 8

/* A network and a node's clock: node = true time - offset, running fast by rate_ppb. */
struct lan {
    uint64_t seed;
    int64_t offset_ns; /* site minus node at true time 0 */
    double rate;       /* site ns gained a node ns */
    int64_t path_ns;   /* least one-way delay, the same both ways */
    double out_ns;     /* mean of the exponential extra delay to the server */
    double back_ns;    /* and back */
};

static double uniform(struct lan *lan)
{
    lan->seed = lan->seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return ((double)(lan->seed >> 11) + 0.5) / 9007199254740992.0;
}

static int64_t extra_ns(struct lan *lan, double mean_ns)
{
    return mean_ns > 0 ? (int64_t)(-mean_ns * log(uniform(lan))) : 0;
}

static int64_t true_site_ns(const struct lan *lan, int64_t node_ns)
{
    return node_ns + lan->offset_ns + llround((double)node_ns * lan->rate);
}

static int64_t true_node_ns(const struct lan *lan, int64_t site_ns)
{
    int64_t guess = site_ns - lan->offset_ns;
    for (int i = 0; i < 3; i++) {
        guess = site_ns - lan->offset_ns - llround((double)guess * lan->rate);
    }
    return guess;
}

static struct clock_exchange exchange_at(struct lan *lan, int64_t node_ns)
{
    struct clock_exchange exchange = {.t1_ns = node_ns};
    exchange.t2_ns = true_site_ns(lan, node_ns) + lan->path_ns + extra_ns(lan, lan->out_ns);
    exchange.t3_ns = exchange.t2_ns + 20000;
    exchange.t4_ns = true_node_ns(lan, exchange.t3_ns + lan->path_ns + extra_ns(lan, lan->back_ns));
    return exchange;
}

static void add_burst(struct clock_fitter *fitter, struct lan *lan, int64_t node_ns)
{
    struct clock_exchange burst[BURST];
    for (int i = 0; i < BURST; i++) {
        burst[i] = exchange_at(lan, node_ns + i * (NS_PER_S / 10));
    }
    assert_true(clock_fitter_add_burst(fitter, burst, BURST));
}

static int64_t error_ns(const struct lan *lan, const struct clock_fit *fit, int64_t node_ns)
{
    return clock_fit_site_ns(fit, node_ns) - true_site_ns(lan, node_ns);
}

static void a_line_is_applied_in_whole_nanoseconds(void **state)
{
    (void)state;
    struct clock_fit fit = {.known = true,
                            .ref_node_ns = 1000 * NS_PER_S,
                            .offset_ns = INT64_C(1700000000000000000),
                            .rate_ppt = 40000000,
                            .uncertainty_ns = 500,
                            .growth_ppb = 1000};
    assert_int64_equal(clock_fit_site_ns(&fit, fit.ref_node_ns),
                       INT64_C(1700000000000000000) + 1000 * NS_PER_S);
    /* 40 ppm over an hour is 144 ms. */
    assert_int64_equal(clock_fit_site_ns(&fit, fit.ref_node_ns + 3600 * NS_PER_S),
                       INT64_C(1700000000000000000) + 4600 * NS_PER_S + 144000000);
    assert_int64_equal(clock_fit_site_ns(&fit, fit.ref_node_ns - 3600 * NS_PER_S),
                       INT64_C(1700000000000000000) - 2600 * NS_PER_S - 144000000);
    assert_int64_equal(clock_fit_uncertainty_ns(&fit, fit.ref_node_ns), 500);
    assert_int64_equal(clock_fit_uncertainty_ns(&fit, fit.ref_node_ns + 10 * NS_PER_S), 10500);
    assert_int64_equal(clock_fit_uncertainty_ns(&fit, fit.ref_node_ns - 10 * NS_PER_S), 10500);
    assert_int64_equal(clock_fit_uncertainty_ns(&fit, fit.ref_node_ns + 1), 501);
}

static void times_at_the_end_of_int64_stay_there(void **state)
{
    (void)state;
    struct clock_fit fit = {.known = true,
                            .offset_ns = INT64_MAX,
                            .rate_ppt = INT64_C(100000000000),
                            .ref_node_ns = INT64_MIN,
                            .uncertainty_ns = INT64_MAX,
                            .growth_ppb = NS_PER_S};
    assert_true(clock_fit_site_ns(&fit, INT64_MAX) == INT64_MAX);
    assert_true(clock_fit_uncertainty_ns(&fit, INT64_MAX) == INT64_MAX);
    fit.offset_ns = INT64_MIN;
    fit.ref_node_ns = INT64_MAX;
    assert_true(clock_fit_site_ns(&fit, INT64_MIN) == INT64_MIN);
}

static void two_lines_after_each_other_are_one(void **state)
{
    (void)state;
    const struct clock_fit first = {.known = true,
                                    .utc = true,
                                    .ref_node_ns = 1000 * NS_PER_S,
                                    .offset_ns = INT64_C(1700000000000000000),
                                    .rate_ppt = 40000000,
                                    .uncertainty_ns = 3000,
                                    .growth_ppb = 10};
    const struct clock_fit then = {.known = true,
                                   .ref_node_ns = INT64_C(1700000500000000000),
                                   .offset_ns = -250000000,
                                   .rate_ppt = -70000000,
                                   .uncertainty_ns = 3500,
                                   .growth_ppb = 1};
    struct clock_fit both = clock_fit_chain(&first, &then);
    assert_true(both.known && !both.utc);
    for (int64_t node_ns = 0; node_ns < 40000 * NS_PER_S; node_ns += 997 * NS_PER_S) {
        int64_t apart_ns = clock_fit_site_ns(&both, node_ns) -
                           clock_fit_site_ns(&then, clock_fit_site_ns(&first, node_ns));
        assert_in_range(apart_ns + 2, 0, 4);
    }
    /* then's own 3500 and 1 ppb of the 500 s to its reference: 4000 ns with 3000 is 5000. */
    assert_int64_equal(both.uncertainty_ns, 5000);
    assert_int64_equal(both.growth_ppb, 11);
}

static void a_line_turned_round_leads_back(void **state)
{
    (void)state;
    const struct clock_fit fit = {.known = true,
                                  .utc = true,
                                  .ref_node_ns = 1000 * NS_PER_S,
                                  .offset_ns = INT64_C(1700000000000000000),
                                  .rate_ppt = INT64_C(100000000000),
                                  .uncertainty_ns = 3000};
    struct clock_fit back = clock_fit_inverse(&fit);
    assert_true(back.known && !back.utc);
    assert_int64_equal(back.uncertainty_ns, 3000);
    for (int64_t node_ns = 0; node_ns < 40000 * NS_PER_S; node_ns += 997 * NS_PER_S) {
        int64_t again_ns = clock_fit_site_ns(&back, clock_fit_site_ns(&fit, node_ns));
        assert_in_range(again_ns - node_ns + 25, 0, 50); /* the rate is whole in 1e-12 */
    }
}

static void nothing_is_known_before_the_first_exchange(void **state)
{
    (void)state;
    struct clock_fitter fitter;
    struct clock_fit fit;
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
    clock_fitter_line(&fitter, 5, &fit);
    assert_false(fit.known);
    struct clock_exchange bad[] = {
        {.t1_ns = 0, .t2_ns = 100, .t3_ns = 200, .t4_ns = 50},            /* below zero */
        {.t1_ns = 0, .t2_ns = 100, .t3_ns = 200, .t4_ns = 11 * NS_PER_S}, /* above 10 s */
        {.t1_ns = 100, .t2_ns = 100, .t3_ns = 90, .t4_ns = 95},           /* backwards */
    };
    assert_false(clock_fitter_add_burst(&fitter, bad, 3));
    assert_false(clock_fitter_add_burst(&fitter, NULL, 0));
    clock_fitter_line(&fitter, 5, &fit);
    assert_false(fit.known);
}

static void one_burst_gives_its_best_exchange_with_the_crystal_s_growth(void **state)
{
    (void)state;
    struct clock_exchange burst[] = {
        {.t1_ns = 0, .t2_ns = 5000000, .t3_ns = 5000000, .t4_ns = 8000000},
        {.t1_ns = 10000000, .t2_ns = 13000000, .t3_ns = 13000000, .t4_ns = 12000000},
        {.t1_ns = 20000000, .t2_ns = 29000000, .t3_ns = 29000000, .t4_ns = 29000000},
    };
    struct clock_fitter fitter;
    struct clock_fit fit;
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
    assert_true(clock_fitter_add_burst(&fitter, burst, 3));
    clock_fitter_line(&fitter, 11000000, &fit);
    assert_true(fit.known);
    assert_int64_equal(fit.offset_ns, 2000000);
    assert_int64_equal(fit.rate_ppt, 0);
    assert_close((double)fit.growth_ppb, GROWTH_PPB, 20);
    /* Half of 2 ms over the root of 3, with 3 us of the stamps, and the floor of 1 us. */
    assert_int64_equal(fit.uncertainty_ns, 578359);
    clock_fitter_line(&fitter, 11000000 + 10 * NS_PER_S, &fit);
    assert_close((double)fit.uncertainty_ns, hypot(578359, 1e6), 2000);
}

static void a_quiet_wire_gives_offset_and_rate(void **state)
{
    (void)state;
    struct lan lan = {.seed = 1,
                      .offset_ns = INT64_C(1700000000123456789),
                      .rate = 40e-6,
                      .path_ns = 100000,
                      .out_ns = 20000,
                      .back_ns = 20000};
    struct clock_fitter fitter;
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
    for (int i = 0; i < 40; i++) {
        add_burst(&fitter, &lan, i * 16 * NS_PER_S);
    }
    struct clock_fit fit;
    int64_t now = 40 * 16 * NS_PER_S;
    clock_fitter_line(&fitter, now, &fit);
    assert_close((double)fit.rate_ppt, 40e6, 0.1e6);
    assert_close((double)error_ns(&lan, &fit, now), 0, 10000);
    assert_true(fit.uncertainty_ns > 50000 && fit.uncertainty_ns < 100000);
    /* Half an hour without an answer, still within its own growing bound. */
    int64_t later = now + 1800 * NS_PER_S;
    assert_close((double)error_ns(&lan, &fit, later), 0,
                 (double)clock_fit_uncertainty_ns(&fit, later));
}

/* A carrier that was awake by chance hands one question over sooner than it ever does else. */
static void one_lucky_exchange_does_not_draw_the_line(void **state)
{
    (void)state;
    struct lan lan = {
        .seed = 3, .offset_ns = 5000, .path_ns = 280000, .out_ns = 10000, .back_ns = 10000};
    struct clock_fitter fitter;
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
    for (int i = 0; i < 40; i++) {
        add_burst(&fitter, &lan, i * 16 * NS_PER_S);
    }
    struct clock_exchange lucky = exchange_at(&lan, 40 * 16 * NS_PER_S);
    lucky.t2_ns -= 80000;
    lucky.t3_ns -= 80000;
    lucky.t4_ns -= 80000;
    assert_true(clock_fitter_add_burst(&fitter, &lucky, 1));
    for (int i = 41; i < 50; i++) {
        add_burst(&fitter, &lan, i * 16 * NS_PER_S);
    }
    struct clock_fit fit;
    int64_t now = 50 * 16 * NS_PER_S;
    clock_fitter_line(&fitter, now, &fit);
    assert_close((double)error_ns(&lan, &fit, now), 0, 4000);
}

/* One sigma must hold the error in 68 % of the cases at least; here each case is a night's start of
 * its own, with delays that fall on one way only. */
static void assert_covers(struct lan like, int bursts, double least_share)
{
    int held = 0;
    int held_twice = 0;
    const int nights = 200;
    for (int night = 0; night < nights; night++) {
        struct lan lan = like;
        lan.seed = like.seed + (uint64_t)night * 7919;
        struct clock_fitter fitter;
        clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
        for (int i = 0; i < bursts; i++) {
            add_burst(&fitter, &lan, i * 16 * NS_PER_S);
        }
        struct clock_fit fit;
        int64_t now = bursts * 16 * NS_PER_S;
        clock_fitter_line(&fitter, now, &fit);
        int64_t error = llabs(error_ns(&lan, &fit, now));
        held += error <= fit.uncertainty_ns;
        held_twice += error <= 2 * fit.uncertainty_ns;
    }
    if (held < least_share * nights || held_twice < 0.95 * nights) {
        fail_msg("%d bursts: %d and %d of %d within one and two sigma", bursts, held, held_twice,
                 nights);
    }
}

static void the_uncertainty_holds_the_true_error_under_one_sided_delay(void **state)
{
    (void)state;
    struct lan quiet = {.seed = 11,
                        .offset_ns = 5,
                        .rate = -30e-6,
                        .path_ns = 300000,
                        .out_ns = 50000,
                        .back_ns = 50000};
    struct lan out = quiet;
    out.out_ns = 30e6;
    out.back_ns = 0;
    struct lan back = quiet;
    back.out_ns = 0;
    back.back_ns = 100e6;
    const int bursts[] = {1, 2, 3, 6, 20, 56};
    for (size_t i = 0; i < sizeof bursts / sizeof bursts[0]; i++) {
        /* One burst alone can't tell a long way from a long wait: only its bound holds, which lies
         * at 1.73 sigma. */
        double least_share = bursts[i] > 1 ? 0.68 : 0;
        assert_covers(quiet, bursts[i], 0.68);
        assert_covers(out, bursts[i], least_share);
        assert_covers(back, bursts[i], least_share);
    }
}

static void old_exchanges_leave_the_span(void **state)
{
    (void)state;
    struct lan lan = {.seed = 3, .rate = 10e-6, .path_ns = 100000};
    struct clock_fitter fitter;
    clock_fitter_init(&fitter, 100 * NS_PER_S, GROWTH_PPB);
    for (int i = 0; i < 30; i++) {
        add_burst(&fitter, &lan, i * 10 * NS_PER_S);
        assert_true(fitter.count <= 11);
    }
    clock_fitter_init(&fitter, 100000 * NS_PER_S, GROWTH_PPB);
    for (int i = 0; i < 3 * CLOCK_FITTER_POINTS; i++) {
        add_burst(&fitter, &lan, i * 10 * NS_PER_S);
    }
    assert_int_equal(fitter.count, CLOCK_FITTER_POINTS);
}

static void a_time_server_set_anew_starts_the_line_again(void **state)
{
    (void)state;
    struct lan lan = {.seed = 5, .rate = 20e-6, .path_ns = 100000, .out_ns = 20000};
    struct clock_fitter fitter;
    clock_fitter_init(&fitter, SPAN_NS, GROWTH_PPB);
    for (int i = 0; i < 10; i++) {
        add_burst(&fitter, &lan, i * 16 * NS_PER_S);
    }
    lan.offset_ns += NS_PER_S / 2;
    add_burst(&fitter, &lan, 160 * NS_PER_S);
    assert_int_equal(fitter.count, 1);
    struct clock_fit fit;
    clock_fitter_line(&fitter, 161 * NS_PER_S, &fit);
    assert_true(llabs(error_ns(&lan, &fit, 161 * NS_PER_S)) <= 2 * fit.uncertainty_ns);
}

static void another_uncertainty_adds_as_squares(void **state)
{
    (void)state;
    struct clock_fit fit = {.known = true, .uncertainty_ns = 3000};
    clock_fit_widen(&fit, 0);
    assert_int64_equal(fit.uncertainty_ns, 3000);
    clock_fit_widen(&fit, 4000);
    assert_int64_equal(fit.uncertainty_ns, 5000);
    clock_fit_widen(&fit, INT64_MAX);
    assert_int64_equal(fit.uncertainty_ns, INT64_C(1000000000000000000));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(another_uncertainty_adds_as_squares),
        cmocka_unit_test(a_line_is_applied_in_whole_nanoseconds),
        cmocka_unit_test(times_at_the_end_of_int64_stay_there),
        cmocka_unit_test(two_lines_after_each_other_are_one),
        cmocka_unit_test(a_line_turned_round_leads_back),
        cmocka_unit_test(nothing_is_known_before_the_first_exchange),
        cmocka_unit_test(one_burst_gives_its_best_exchange_with_the_crystal_s_growth),
        cmocka_unit_test(a_quiet_wire_gives_offset_and_rate),
        cmocka_unit_test(one_lucky_exchange_does_not_draw_the_line),
        cmocka_unit_test(the_uncertainty_holds_the_true_error_under_one_sided_delay),
        cmocka_unit_test(old_exchanges_leave_the_span),
        cmocka_unit_test(a_time_server_set_anew_starts_the_line_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
