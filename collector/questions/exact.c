/* Sums over tables, in logarithms of factorials.
 * Must never lose a tail to rounding: each term is formed alone. Called by score and plan. */
#include "collector/questions/exact.h"

#include <math.h>

#define HALVINGS 100
#define Z_95 1.959963984540054
/* Tables as probable as the one seen must count although their sums differ in the last digits. */
#define SAME 1e-9

static double log_choose(uint32_t n, uint32_t k)
{
    int sign = 0; /* of lgamma() itself it would be one variable for all threads */
    return lgamma_r(n + 1.0, &sign) - lgamma_r(k + 1.0, &sign) - lgamma_r(n - k + 1.0, &sign);
}

double exact_hypergeometric(uint32_t hits, uint32_t asked, uint32_t hits_in_all, uint32_t windows)
{
    uint32_t silent = windows - asked;
    if (hits > asked || hits > hits_in_all || hits_in_all - hits > silent) {
        return 0.0;
    }
    return exp(log_choose(asked, hits) + log_choose(silent, hits_in_all - hits) -
               log_choose(windows, hits_in_all));
}

static uint32_t most_hits(const struct exact_table *table)
{
    uint32_t hits = table->asked_hits + table->silent_hits;
    return hits < table->asked ? hits : table->asked;
}

double exact_fisher_more(const struct exact_table *table)
{
    double sum = 0.0;
    for (uint32_t hits = table->asked_hits; hits <= most_hits(table); hits++) {
        sum += exact_hypergeometric(hits, table->asked, table->asked_hits + table->silent_hits,
                                    table->asked + table->silent);
    }
    return sum < 1.0 ? sum : 1.0;
}

double exact_fisher_two_sided(const struct exact_table *table)
{
    const uint32_t in_all = table->asked_hits + table->silent_hits;
    const uint32_t windows = table->asked + table->silent;
    double seen = exact_hypergeometric(table->asked_hits, table->asked, in_all, windows);
    double sum = 0.0;
    for (uint32_t hits = 0; hits <= most_hits(table); hits++) {
        double p = exact_hypergeometric(hits, table->asked, in_all, windows);
        sum += p <= seen * (1.0 + SAME) ? p : 0.0;
    }
    return sum < 1.0 ? sum : 1.0;
}

double exact_binomial(uint32_t hits, uint32_t trials, double p)
{
    if (hits > trials || !(p >= 0.0 && p <= 1.0)) {
        return 0.0;
    }
    if (p == 0.0 || p == 1.0) {
        return hits == (p == 0.0 ? 0 : trials) ? 1.0 : 0.0;
    }
    return exp(log_choose(trials, hits) + hits * log(p) + (trials - hits) * log1p(-p));
}

double exact_binomial_more(uint32_t hits, uint32_t trials, double p)
{
    double sum = 0.0;
    for (uint32_t k = hits; k <= trials; k++) {
        sum += exact_binomial(k, trials, p);
    }
    return sum < 1.0 ? sum : 1.0;
}

/* The p at which P(X >= hits) has grown to `tail`. */
static double proportion_at(uint32_t hits, uint32_t trials, double tail)
{
    double low = 0.0;
    double high = 1.0;
    for (int i = 0; i < HALVINGS; i++) {
        double middle = 0.5 * (low + high);
        if (exact_binomial_more(hits, trials, middle) < tail) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return 0.5 * (low + high);
}

void exact_clopper_pearson(uint32_t hits, uint32_t trials, double confidence, double *low,
                           double *high)
{
    double tail = 0.5 * (1.0 - confidence);
    *low = hits == 0 ? 0.0 : proportion_at(hits, trials, tail);
    *high = hits >= trials ? 1.0 : proportion_at(hits + 1, trials, 1.0 - tail);
}

void exact_wilson_95(uint32_t hits, uint32_t trials, double *low, double *high)
{
    if (trials == 0) {
        *low = 0.0;
        *high = 1.0;
        return;
    }
    double n = trials;
    double p = hits / n;
    double z2 = Z_95 * Z_95;
    double middle = p + z2 / (2.0 * n);
    double reach = Z_95 * sqrt((p * (1.0 - p) + z2 / (4.0 * n)) / n);
    *low = fmax(0.0, (middle - reach) / (1.0 + z2 / n));
    *high = fmin(1.0, (middle + reach) / (1.0 + z2 / n));
}

void exact_difference_95(const struct exact_table *table, double *low, double *high)
{
    *low = -1.0;
    *high = 1.0;
    if (table->asked == 0 || table->silent == 0) {
        return;
    }
    double asked_low = 0.0;
    double asked_high = 0.0;
    double silent_low = 0.0;
    double silent_high = 0.0;
    double asked = (double)table->asked_hits / table->asked;
    double silent = (double)table->silent_hits / table->silent;
    exact_wilson_95(table->asked_hits, table->asked, &asked_low, &asked_high);
    exact_wilson_95(table->silent_hits, table->silent, &silent_low, &silent_high);
    *low = asked - silent - hypot(asked - asked_low, silent_high - silent);
    *high = asked - silent + hypot(asked_high - asked, silent - silent_low);
}

double exact_power(uint32_t asked, uint32_t silent, double p_asked, double p_silent, double alpha)
{
    double power = 0.0;
    for (uint32_t b = 0; b <= silent; b++) {
        double of_b = exact_binomial(b, silent, p_silent);
        /* The p-value falls as hits are added: once it is low enough, all further tables are too.
         */
        for (uint32_t a = 0; a <= asked; a++) {
            const struct exact_table table = {a, asked, b, silent};
            if (exact_fisher_more(&table) <= alpha) {
                power += of_b * exact_binomial_more(a, asked, p_asked);
                break;
            }
        }
    }
    return power < 1.0 ? power : 1.0;
}
