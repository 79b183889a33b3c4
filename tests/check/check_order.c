/* Who was first, against values from the normal distribution.
 * Sources: P(A before B) = Phi((tB - tA) / sqrt(sA^2 + sB^2)) and the first-of-n integral; values
 * computed independently; sampling: a uniform distribution's sd, interval / sqrt(12). */
#include "tests/unit/test.h"

#include "collector/correlate/order.h"

#define MS INT64_C(1000000)
#define START INT64_C(1709330400123456789)

static void two_nodes_follow_the_normal_distribution(void **state)
{
    (void)state;
    assert_close(order_before(START, 5 * MS, START + 10 * MS, 5 * MS), 0.921350, 5e-7);
    assert_close(order_before(START, 5 * MS, START + 2 * MS, 5 * MS), 0.611351, 5e-7);
    assert_close(order_before(START, 4 * MS, START + 3 * MS, 3 * MS), 0.725747, 5e-7);
    assert_close(order_before(START + 10 * MS, 5 * MS, START, 5 * MS), 1.0 - 0.921350, 5e-7);
}

static void fill(struct order_entry *entries, size_t count, const double *ms, const double *sd_ms)
{
    for (size_t i = 0; i < count; i++) {
        entries[i] = (struct order_entry){(uint32_t)i, START + (int64_t)llround(ms[i] * 1e6),
                                          (int64_t)llround(sd_ms[i] * 1e6), 0.0};
    }
}

static double sum(const struct order_entry *entries, size_t count)
{
    double total = 0.0;
    for (size_t i = 0; i < count; i++) {
        total += entries[i].first_probability;
    }
    return total;
}

static void first_of_three_is_as_published(void **state)
{
    (void)state;
    struct order_entry entries[3];
    fill(entries, 3, (const double[]){0, 4, 10}, (const double[]){5, 5, 5});
    order_first(entries, 3);
    assert_close(entries[0].first_probability, 0.687431, 1e-6);
    assert_close(entries[1].first_probability, 0.270342, 1e-6);
    assert_close(entries[2].first_probability, 0.042227, 1e-6);
    assert_close(sum(entries, 3), 1.0, 1e-6);
}

static void first_of_two_is_the_pairwise_value(void **state)
{
    (void)state;
    struct order_entry entries[2];
    fill(entries, 2, (const double[]){0, 3}, (const double[]){4, 3});
    order_first(entries, 2);
    assert_close(entries[0].first_probability, 0.725747, 1e-6);
}

static void equal_times_share_equally(void **state)
{
    (void)state;
    double ms[12] = {0};
    double sd_ms[12];
    struct order_entry entries[12];
    for (size_t i = 0; i < 12; i++) {
        sd_ms[i] = 2.0;
    }
    fill(entries, 12, ms, sd_ms);
    order_first(entries, 12);
    for (size_t i = 0; i < 12; i++) {
        assert_close(entries[i].first_probability, 1.0 / 12.0, 1e-7);
    }
    assert_true(order_together(entries, 12, 0.95));
}

/* Uncertainties from 1 us to 1 s side by side: still a distribution. */
static void sums_stay_one_for_unlike_uncertainties(void **state)
{
    (void)state;
    struct order_entry entries[5];
    fill(entries, 5, (const double[]){0, 0.5, 20, 100, 400},
         (const double[]){1, 0.001, 300, 1000, 5});
    order_first(entries, 5);
    assert_close(sum(entries, 5), 1.0, 1e-6);
    fill(entries, 2, (const double[]){0, 100000}, (const double[]){1, 1});
    order_first(entries, 2);
    assert_close(entries[0].first_probability, 1.0, 1e-9);
    assert_close(entries[1].first_probability, 0.0, 1e-9);
}

/* 10 ms sampling alone: 10 / sqrt(12) = 2.887 ms. */
static void an_onset_sums_pick_sampling_and_clock(void **state)
{
    (void)state;
    struct disturbance seen = {.sampling_sd_ns = 2886751};
    assert_int64_equal(disturbance_onset_sd_ns(&seen), 2886751);
    seen.pick_sd_ns = 3 * MS;
    seen.sampling_sd_ns = 0;
    seen.clock_sd_ns = 4 * MS;
    assert_int64_equal(disturbance_onset_sd_ns(&seen), 5 * MS);
}

/* The largest x at which onsets at 0 and x (and 2 x) of sd 1 still pass for one moment; their
 * chi-square is x^2 / 2 (and 2 x^2). */
static double widest_together(size_t count, double confidence)
{
    double low = 0, high = 100;
    for (int i = 0; i < 60; i++) {
        struct order_entry entries[3];
        double x = (low + high) / 2;
        fill(entries, count, (const double[]){0, x, 2 * x}, (const double[]){1, 1, 1});
        *(order_together(entries, count, confidence) ? &low : &high) = x;
    }
    return low;
}

/* Quantiles of chi-square at 95 and 99 %, 1 and 2 degrees of freedom: 3.841, 6.635, 5.991, 9.210
 * (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4, from memory). */
static void together_is_a_chi_square_at_the_sites_confidence(void **state)
{
    (void)state;
    assert_close(pow(widest_together(2, 0.95), 2) / 2, 3.841, 1e-3);
    assert_close(pow(widest_together(2, 0.99), 2) / 2, 6.635, 1e-3);
    assert_close(2 * pow(widest_together(3, 0.95), 2), 5.991, 1e-3);
    assert_close(2 * pow(widest_together(3, 0.99), 2), 9.210, 1e-3);
}

/* 3, 4, 10 and 11 degrees of freedom at 95 %: 7.815, 9.488, 18.307, 19.675 (same table). */
static void more_nodes_follow_the_table_too(void **state)
{
    (void)state;
    static const struct {
        size_t count;
        double quantile;
    } rows[] = {{4, 7.815}, {5, 9.488}, {11, 18.307}, {12, 19.675}};
    for (size_t r = 0; r < 4; r++) {
        for (int side = 0; side < 2; side++) {
            /* one apart, the others at one time: x^2 (n - 1) / n */
            double n = (double)rows[r].count;
            double x = sqrt((rows[r].quantile + (side ? 0.002 : -0.002)) * n / (n - 1));
            double ms[12] = {0}, sd_ms[12];
            struct order_entry entries[12];
            for (size_t i = 0; i < rows[r].count; i++) {
                ms[i] = i + 1 == rows[r].count ? x : 0;
                sd_ms[i] = 1;
            }
            fill(entries, rows[r].count, ms, sd_ms);
            assert_int_equal(order_together(entries, rows[r].count, 0.95), side == 0);
        }
    }
}

/* A sample shows what began up to one interval before: on the average half of it. */
static void a_moment_is_half_an_interval_before_its_sample(void **state)
{
    (void)state;
    struct disturbance seen = {.onset_ns = START, .sampling_sd_ns = 2886751};
    assert_close((double)(order_moment_ns(&seen) - START), -5e6, 10);
}

static void a_node_speaks_by_its_surest_word_on_one_beginning(void **state)
{
    (void)state;
    struct disturbance vague = {.node = 1, .onset_ns = START, .pick_sd_ns = 30 * MS};
    struct disturbance sharp = {.node = 1, .onset_ns = START + 20 * MS, .pick_sd_ns = MS};
    struct disturbance other = {.node = 0, .onset_ns = START + 10 * MS, .pick_sd_ns = MS};
    struct disturbance later = {.node = 1, .onset_ns = START + 900 * MS, .pick_sd_ns = MS / 2};
    const struct disturbance *members[] = {&vague, &other, &sharp, &later};
    struct order_entry entries[4];
    assert_int_equal(order_gather(members, 4, entries, 4), 2);
    assert_int_equal(entries[0].node, 0);
    assert_int64_equal(entries[0].onset_ns, START + 10 * MS);
    assert_int64_equal(entries[1].onset_ns, START + 20 * MS);
    assert_int64_equal(entries[1].onset_sd_ns, MS);
    assert_int_equal(order_gather(members, 4, entries, 1), 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_nodes_follow_the_normal_distribution),
        cmocka_unit_test(first_of_three_is_as_published),
        cmocka_unit_test(first_of_two_is_the_pairwise_value),
        cmocka_unit_test(equal_times_share_equally),
        cmocka_unit_test(sums_stay_one_for_unlike_uncertainties),
        cmocka_unit_test(an_onset_sums_pick_sampling_and_clock),
        cmocka_unit_test(together_is_a_chi_square_at_the_sites_confidence),
        cmocka_unit_test(more_nodes_follow_the_table_too),
        cmocka_unit_test(a_moment_is_half_an_interval_before_its_sample),
        cmocka_unit_test(a_node_speaks_by_its_surest_word_on_one_beginning),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
