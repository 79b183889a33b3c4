/* Accidental coincidences against the formula's published form and a seeded simulation.
 * Sources: Eckart & Shonka 1938, Phys. Rev. 53:752; Janossy 1944, Nature 153:165 (from memory);
 * the factor k: choose the earliest of k, every other within tau after it (derived). */
#include "tests/unit/test.h"

#include "collector/correlate/chance.h"
#include "collector/correlate/correlator.h"

#define NODES 4
#define SPAN_S 2000000.0

static double per_night(const double *rates, size_t count, size_t k, double tau_s)
{
    return chance_of_night(chance_prompt_hz(rates, count, k, tau_s)).per_night;
}

/* 36 an hour each, tau = 2 s, 8 h (computed from the formula). */
static void equal_rates_give_the_formula(void **state)
{
    (void)state;
    const double rates[NODES] = {0.01, 0.01, 0.01, 0.01};
    assert_close(chance_prompt_hz(rates, 2, 2, 2.0), 4.0e-4, 1e-12);
    assert_close(per_night(rates, 2, 2, 2.0), 11.52, 1e-9);
    assert_close(chance_prompt_hz(rates, 3, 3, 2.0), 1.2e-5, 1e-13);
    assert_close(per_night(rates, 3, 3, 2.0), 0.3456, 1e-9);
    assert_close(chance_prompt_hz(rates, 4, 4, 2.0), 3.2e-7, 1e-14);
    assert_close(per_night(rates, 4, 4, 2.0), 0.009216, 1e-9);
}

static void uneven_rates_multiply(void **state)
{
    (void)state;
    const double rates[2] = {0.01, 0.02};
    assert_close(chance_prompt_hz(rates, 2, 2, 2.0), 8e-4, 1e-12);
    assert_close(per_night(rates, 2, 2, 2.0), 23.04, 1e-9);
}

static void any_two_of_six_are_172_8_a_night(void **state)
{
    (void)state;
    const double rates[6] = {0.01, 0.01, 0.01, 0.01, 0.01, 0.01};
    assert_close(per_night(rates, 6, 2, 2.0), 172.8, 1e-9);
}

/* e_2(1,2,3) = 11, e_3(1,2,3,4) = 50: sums over all choices (computed by hand). */
static void unequal_rates_go_through_the_symmetric_polynomial(void **state)
{
    (void)state;
    const double rates[NODES] = {1.0, 2.0, 3.0, 4.0};
    assert_close(chance_symmetric(rates, 3, 2), 11.0, 1e-12);
    assert_close(chance_symmetric(rates, 4, 3), 50.0, 1e-12);
    assert_close(chance_symmetric(rates, 4, 4), 24.0, 1e-12);
    assert_close(chance_symmetric(rates, 4, 5), 0.0, 0.0);
}

/* P(at least one) = 1 - exp(-mu) (computed). */
static void at_least_one_follows_poisson(void **state)
{
    (void)state;
    assert_close(chance_of_night(0.0432 / CHANCE_NIGHT_S).p_value, 0.042280, 5e-7);
    assert_close(chance_of_night(11.52 / CHANCE_NIGHT_S).p_value, 0.999990, 5e-7);
    /* Far below a double's rounding of 1 - x: must not collapse to zero. */
    assert_close(chance_of_night(1e-20 / CHANCE_NIGHT_S).p_value, 1e-20, 1e-30);
}

static double uniform(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return ((double)(*state >> 11) + 0.5) / 9007199254740992.0;
}

/* Onset times of one node, a Poisson stream; ends with one beyond the span. */
static double *make_stream(double rate, uint64_t *state)
{
    size_t size = (size_t)(rate * SPAN_S * 1.2) + 1000;
    double *times = malloc(size * sizeof *times);
    assert_non_null(times);
    double now = 0.0;
    for (size_t i = 0; i < size; i++) {
        now -= log(uniform(state)) / rate;
        times[i] = now;
        if (now > SPAN_S) {
            return times;
        }
    }
    fail_msg("stream too short");
    return times;
}

/* k-tuples, one onset of each of k streams, whose last is within tau of their first: for each
 * stream's onset as the earliest, the product of the others' counts in the tau after it. */
static double count_tuples(double *const *streams, size_t k, double tau)
{
    double tuples = 0.0;
    for (size_t first = 0; first < k; first++) {
        size_t at[NODES] = {0};
        for (size_t i = 0; streams[first][i] <= SPAN_S; i++) {
            double now = streams[first][i];
            double product = 1.0;
            for (size_t other = 0; other < k; other++) {
                if (other == first) {
                    continue;
                }
                while (streams[other][at[other]] < now && streams[other][at[other]] <= SPAN_S) {
                    at[other]++;
                }
                size_t end = at[other];
                while (streams[other][end] <= SPAN_S && streams[other][end] <= now + tau) {
                    end++;
                }
                product *= (double)(end - at[other]);
            }
            tuples += product;
        }
    }
    return tuples;
}

static void a_seeded_simulation_agrees_within_three_sigma(void **state)
{
    (void)state;
    const double rates[NODES] = {0.01, 0.02, 0.015, 0.01};
    uint64_t seed = 20240301;
    double *streams[NODES];
    for (size_t i = 0; i < NODES; i++) {
        streams[i] = make_stream(rates[i], &seed);
    }
    for (size_t k = 2; k <= 3; k++) {
        double expected = chance_prompt_hz(rates, k, k, 2.0) * SPAN_S;
        double counted = count_tuples(streams, k, 2.0);
        print_message("k=%zu: %.0f counted, %.2f expected\n", k, counted, expected);
        assert_close(counted, expected, 3.0 * sqrt(expected));
    }
    for (size_t i = 0; i < NODES; i++) {
        free(streams[i]);
    }
}

/* Two nodes d apart, hops of 0.3 to 7 m/s: rate = 2 R1 R2 d (1/0.3 - 1/7) (derived: either order,
 * the window of delays that pass the gate). */
static void a_single_hop_counts_both_orders_and_its_window(void **state)
{
    (void)state;
    struct site_room room = {.id = "hall"};
    struct site_node nodes[3] = {{.id = "a"}, {.id = "b"}, {.id = "c"}};
    nodes[1].position_m[0] = 6.0;
    nodes[2].position_m[0] = 12.0;
    struct site site = {.room_count = 1, .rooms = &room, .node_count = 2, .nodes = nodes};
    struct layout *layout = NULL;
    struct error error;
    assert_int_equal(layout_new(&site, &layout, &error), 0);
    const double rates[3] = {0.001, 0.002, 0.003};
    const struct chance_hops hops = {0.0, 0.0, 0.3, 7.0};
    double rate = 0.0;
    assert_int_equal(chance_travelling_hz(layout, rates, 2, &hops, &rate, &error), 0);
    assert_close(rate, 2.0 * 0.001 * 0.002 * 6.0 * (1.0 / 0.3 - 1.0 / 7.0), 1e-15);
    layout_free(layout);
}

/* First index whose time is after `t`. */
static size_t after(const double *times, size_t count, double t)
{
    size_t low = 0;
    size_t high = count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (times[middle] > t) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    return low;
}

static size_t stream_count(const double *times)
{
    size_t count = 0;
    while (times[count] <= SPAN_S) {
        count++;
    }
    return count;
}

/* Chains over three streams in this order, by the rule itself. */
static double count_chains(const double *a, const double *b, const double *c, double ab, double bc,
                           const struct chance_hops *hops)
{
    size_t b_count = stream_count(b);
    size_t c_count = stream_count(c);
    double chains = 0.0;
    for (size_t i = 0; a[i] <= SPAN_S; i++) {
        size_t j = after(b, b_count, a[i] + ab / hops->fastest_m_s);
        for (; j < b_count && b[j] <= a[i] + ab / hops->slowest_m_s; j++) {
            double speed = ab / (b[j] - a[i]);
            double near = b[j] + bc / fmin(hops->fastest_m_s, 3.0 * speed);
            double far = b[j] + bc / fmax(hops->slowest_m_s, speed / 3.0);
            chains += (double)(after(c, c_count, far) - after(c, c_count, near));
        }
    }
    return chains;
}

/* Chains i-j-l of three nodes on a line, 6 m apart, l = i included: the formula counts those too.
 */
static void chains_of_three_agree_with_a_seeded_simulation(void **state)
{
    (void)state;
    struct site_room room = {.id = "hall"};
    struct site_node nodes[3] = {{.id = "a"}, {.id = "b"}, {.id = "c"}};
    nodes[1].position_m[0] = 6.0;
    nodes[2].position_m[0] = 12.0;
    struct site site = {.room_count = 1, .rooms = &room, .node_count = 3, .nodes = nodes};
    struct layout *layout = NULL;
    struct error error;
    assert_int_equal(layout_new(&site, &layout, &error), 0);
    const double rates[3] = {0.006, 0.009, 0.012};
    const struct chance_hops hops = {0.0, 0.0, 0.3, 7.0};
    double rate = 0.0;
    assert_int_equal(chance_travelling_hz(layout, rates, 3, &hops, &rate, &error), 0);
    uint64_t seed = 5;
    double *streams[3];
    for (size_t i = 0; i < 3; i++) {
        streams[i] = make_stream(rates[i], &seed);
    }
    double counted = 0.0;
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 3; j++) {
            for (size_t l = 0; l < 3 && i != j; l++) {
                double ij = layout_straight_m(layout, i, j);
                double jl = layout_straight_m(layout, j, l);
                counted +=
                    j == l ? 0.0 : count_chains(streams[i], streams[j], streams[l], ij, jl, &hops);
            }
        }
    }
    print_message("chains of three: %.0f counted, %.1f expected\n", counted, rate * SPAN_S);
    assert_close(counted / (rate * SPAN_S), 1.0, 0.05);
    for (size_t i = 0; i < 3; i++) {
        free(streams[i]);
    }
    layout_free(layout);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(equal_rates_give_the_formula),
        cmocka_unit_test(uneven_rates_multiply),
        cmocka_unit_test(any_two_of_six_are_172_8_a_night),
        cmocka_unit_test(unequal_rates_go_through_the_symmetric_polynomial),
        cmocka_unit_test(at_least_one_follows_poisson),
        cmocka_unit_test(a_seeded_simulation_agrees_within_three_sigma),
        cmocka_unit_test(a_single_hop_counts_both_orders_and_its_window),
        cmocka_unit_test(chains_of_three_agree_with_a_seeded_simulation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
