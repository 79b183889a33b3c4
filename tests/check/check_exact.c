/* The exact tests against published figures, and a thousand sessions without and with an effect. */
#include "tests/unit/test.h"

#include "collector/questions/draw.h"
#include "collector/questions/exact.h"
#include "collector/questions/score.h"
#include "node/world/rng.h"

/* R. A. Fisher, The Design of Experiments (1935), ch. II: eight cups, four and four. */
static void the_tea_tasting_odds_are_fishers(void **state)
{
    (void)state;
    const double of_70[] = {1, 16, 36, 16, 1};
    for (uint32_t right = 0; right <= 4; right++) {
        assert_close(exact_hypergeometric(right, 4, 4, 8), of_70[right] / 70, 1e-12);
    }
    const struct exact_table all = {4, 4, 0, 4};
    const struct exact_table three = {3, 4, 1, 4};
    assert_close(exact_fisher_more(&all), 1.0 / 70, 1e-12);
    assert_close(exact_fisher_more(&three), 17.0 / 70, 1e-12);
    assert_close(exact_fisher_two_sided(&three), 34.0 / 70, 1e-12);
}

/* Binomial tails and Clopper-Pearson limits: figures computed with SciPy 1.10 (binomtest), and the
 * 90 % limits of 4 of 20 as in the NIST/SEMATECH e-Handbook sec. 7.2.4.1 (number from memory). */
static void binomial_tails_and_limits_are_those_of_the_reference(void **state)
{
    (void)state;
    double low = 0;
    double high = 0;
    assert_close(exact_binomial_more(9, 12, 0.5), 0.0729980, 5e-8);
    assert_close(exact_binomial_more(15, 20, 0.5), 0.0206947, 5e-8);
    exact_clopper_pearson(15, 20, 0.95, &low, &high);
    assert_close(low, 0.508954, 5e-7);
    assert_close(high, 0.913429, 5e-7);
    exact_clopper_pearson(4, 20, 0.90, &low, &high);
    assert_close(low, 0.071354, 5e-7);
    assert_close(high, 0.401028, 5e-7);
    exact_wilson_95(15, 20, &low, &high);
    assert_close(low, 0.531299, 5e-7);
    assert_close(high, 0.888138, 5e-7);
    exact_clopper_pearson(0, 20, 0.95, &low, &high);
    assert_close(low, 0, 0);
    assert_close(high, 1 - pow(0.025, 1.0 / 20), 1e-9);
}

/* scipy.stats.fisher_exact, SciPy 1.10.1, alternative "greater" and two-sided. */
static void other_tables_come_out_as_by_scipy(void **state)
{
    (void)state;
    static const struct {
        struct exact_table table;
        double more;
        double two_sided;
    } tables[] = {{{7, 10, 2, 10}, 0.0348892593, 0.0697785187},
                  {{12, 20, 5, 20}, 0.0267754963, 0.0535509926},
                  {{3, 6, 0, 12}, 0.0245098039, 0.0245098039},
                  {{60, 100, 45, 100}, 0.0235827427, 0.0471654854}};
    for (size_t i = 0; i < sizeof tables / sizeof *tables; i++) {
        assert_close(exact_fisher_more(&tables[i].table), tables[i].more, 5e-11);
        assert_close(exact_fisher_two_sided(&tables[i].table), tables[i].two_sided, 5e-11);
    }
}

/* R. G. Newcombe, Statistics in Medicine 17:873 (1998), table II, case (a) 56/70 - 48/80, method 10
 * (from memory). */
static void the_limits_of_a_difference_are_newcombes(void **state)
{
    (void)state;
    double low = 0;
    double high = 0;
    const struct exact_table a = {56, 70, 48, 80};
    exact_difference_95(&a, &low, &high);
    assert_close(low, 0.0524, 5e-5);
    assert_close(high, 0.3339, 5e-5);
}

#define QUESTIONS 20
#define SESSIONS 1000

/* Draws in their order. */
struct draws {
    uint64_t key;
    uint64_t next;
};

static double uniform(struct draws *draws)
{
    return rng_uniform(draws->key, draws->next++);
}

/* One session of 20 and 20: each window responds with its own probability. */
static struct exact_table one_session(struct draws *draws, double p_asked, double p_silent)
{
    struct exact_table table = {0, QUESTIONS, 0, QUESTIONS};
    for (int i = 0; i < QUESTIONS; i++) {
        table.asked_hits += uniform(draws) < p_asked;
        table.silent_hits += uniform(draws) < p_silent;
    }
    return table;
}

/* A discrete p-value is at most as often below x as x. The share is held to the binomial's 99.9 %
 * limits above, and the randomized p-value (uniform exactly, whatever the discreteness: Stevens
 * 1950, Biometrika 37:117) to Kolmogorov-Smirnov's 1.95 / sqrt(n) (0.1 %). */
static void without_an_effect_p_is_uniform_and_claims_stay_under_five_percent(void **state)
{
    (void)state;
    struct draws draws = {rng_key(20, 0, 0), 0};
    static double p[SESSIONS];
    int claims = 0;
    for (int s = 0; s < SESSIONS; s++) {
        struct exact_table table = one_session(&draws, 0.3, 0.3);
        double more = exact_fisher_more(&table);
        double same = exact_hypergeometric(table.asked_hits, QUESTIONS,
                                           table.asked_hits + table.silent_hits, 2 * QUESTIONS);
        claims += more <= 0.05;
        p[s] = more - same * uniform(&draws);
    }
    assert_true(claims < 0.05 * SESSIONS);
    double apart = 0;
    for (int i = 0; i < SESSIONS; i++) {
        int below = 0;
        for (int j = 0; j < SESSIONS; j++) {
            below += p[j] <= p[i];
        }
        apart = fmax(apart, fabs((double)below / SESSIONS - p[i]));
    }
    assert_true(apart < 1.95 / sqrt(SESSIONS));
}

static void with_an_effect_the_claims_come_as_often_as_the_plan_stated(void **state)
{
    (void)state;
    struct draws draws = {rng_key(21, 0, 0), 0};
    const double effects[][2] = {{0.5, 0.1}, {0.6, 0.3}, {0.9, 0.4}};
    for (size_t e = 0; e < 3; e++) {
        int claims = 0;
        for (int s = 0; s < SESSIONS; s++) {
            struct exact_table table = one_session(&draws, effects[e][0], effects[e][1]);
            claims += exact_fisher_more(&table) <= 0.05;
        }
        double power = exact_power(QUESTIONS, QUESTIONS, effects[e][0], effects[e][1], 0.05);
        assert_close((double)claims / SESSIONS, power, 0.05);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_tea_tasting_odds_are_fishers),
        cmocka_unit_test(other_tables_come_out_as_by_scipy),
        cmocka_unit_test(binomial_tails_and_limits_are_those_of_the_reference),
        cmocka_unit_test(the_limits_of_a_difference_are_newcombes),
        cmocka_unit_test(without_an_effect_p_is_uniform_and_claims_stay_under_five_percent),
        cmocka_unit_test(with_an_effect_the_claims_come_as_often_as_the_plan_stated),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
