/* The formulas of accidental coincidence.
 * Must never keep state. Called by judge. */
#include "collector/correlate/chance.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "collector/correlate/limits.h"
#include "collector/correlate/gate.h"

/* Steps of the integral over the first hop's speed, even in its logarithm. */
#define SPEED_STEPS 24

double chance_symmetric(const double *rates, size_t count, size_t k)
{
    double sums[SITE_NODES_MAX + 1] = {1.0};
    if (k > count || k > SITE_NODES_MAX) {
        return 0.0;
    }
    for (size_t i = 0; i < count; i++) {
        for (size_t j = k; j > 0; j--) {
            sums[j] += rates[i] * sums[j - 1];
        }
    }
    return sums[k];
}

double chance_prompt_hz(const double *rates_hz, size_t count, size_t k, double tau_s)
{
    if (k == 0) {
        return 0.0;
    }
    return (double)k * pow(tau_s, (double)k - 1.0) * chance_symmetric(rates_hz, count, k);
}

/* The nodes with a rate, and the two vectors that the chain sums walk over. */
struct chains {
    struct layout *layout;
    const struct chance_hops *hops;
    size_t count;
    double *distances; /* owned; the vectors below lie behind it */
    double *rates;
    double *ahead; /* weight of all continuations from each node */
    double *next;
};

/* The speeds that a hop may have. */
struct speeds {
    double slowest;
    double fastest;
    bool slice; /* one of SPEED_STEPS slices of all speeds: carries its share of the slack alone */
};

/* ahead[i] becomes the sum over j of window(i, j) * rate(j) * ahead[j]; a window is all
 * delays that pass the gate: (distance + slack) / slowest - (distance - slack) / fastest. */
static void step_back(struct chains *chains, const struct speeds *speeds)
{
    const struct chance_hops *hops = chains->hops;
    bool any = speeds->slowest < speeds->fastest;
    double per_slowest = any ? 1.0 / speeds->slowest : 0.0;
    double per_fastest = any ? 1.0 / speeds->fastest : 0.0;
    double nearer = speeds->slice ? -hops->slack_m : hops->slack_m;
    double extra = any ? hops->extra_s / (speeds->slice ? SPEED_STEPS : 1) : 0.0;
    for (size_t i = 0; i < chains->count; i++) {
        const double *row = chains->distances + i * chains->count;
        double sum = 0.0;
        for (size_t j = 0; j < chains->count; j++) {
            double near = row[j] > nearer ? row[j] - nearer : 0.0;
            double window = (row[j] + hops->slack_m) * per_slowest - near * per_fastest + extra;
            sum += i == j ? 0.0 : window * chains->rates[j] * chains->ahead[j];
        }
        chains->next[i] = sum;
    }
    double *swap = chains->ahead;
    chains->ahead = chains->next;
    chains->next = swap;
}

static double sum_of_starts(const struct chains *chains)
{
    double sum = 0.0;
    for (size_t i = 0; i < chains->count; i++) {
        sum += chains->rates[i] * chains->ahead[i];
    }
    return sum;
}

static void start_over(struct chains *chains)
{
    for (size_t i = 0; i < chains->count; i++) {
        chains->ahead[i] = 1.0;
    }
}

/* Chains of k >= 3 nodes whose first hop's speed lies within one step of `first`. */
static double chains_at_speed(struct chains *chains, size_t k, double first, double ratio)
{
    const struct chance_hops *hops = chains->hops;
    struct speeds later = {fmax(hops->slowest_m_s, first / GATE_SPEED_FACTOR),
                           fmin(hops->fastest_m_s, first * GATE_SPEED_FACTOR), false};
    struct speeds slice = {first / ratio, first * ratio, true};
    start_over(chains);
    for (size_t hop = 2; hop < k; hop++) {
        step_back(chains, &later);
    }
    step_back(chains, &slice);
    return sum_of_starts(chains);
}

static double chains_sum(struct chains *chains, size_t k)
{
    const struct chance_hops *hops = chains->hops;
    if (k == 2) {
        struct speeds all = {hops->slowest_m_s, hops->fastest_m_s, false};
        start_over(chains);
        step_back(chains, &all);
        return sum_of_starts(chains);
    }
    double step = log(hops->fastest_m_s / hops->slowest_m_s) / SPEED_STEPS;
    double sum = 0.0;
    for (int i = 0; i < SPEED_STEPS; i++) {
        double first = hops->slowest_m_s * exp((i + 0.5) * step);
        sum += chains_at_speed(chains, k, first, exp(0.5 * step));
    }
    return sum;
}

/* Gathers the nodes that have a rate, and their distances. */
static int chains_init(struct chains *chains, const double *rates_hz, struct error *error)
{
    size_t nodes = layout_site(chains->layout)->node_count;
    for (size_t i = 0; i < nodes; i++) {
        chains->count += rates_hz[i] > 0.0;
    }
    size_t count = chains->count ? chains->count : 1;
    chains->distances = malloc((count * count + 3 * count) * sizeof(double));
    size_t *index = calloc(count, sizeof *index);
    if (!chains->distances || !index) {
        free(index);
        return error_set(error, ERROR_MEMORY, "chance: out of memory");
    }
    chains->rates = chains->distances + count * count;
    chains->ahead = chains->rates + count;
    chains->next = chains->ahead + count;
    for (size_t i = 0, at = 0; i < nodes; i++) {
        if (rates_hz[i] > 0.0) {
            index[at] = i;
            chains->rates[at++] = rates_hz[i];
        }
    }
    for (size_t i = 0; i < chains->count; i++) {
        for (size_t j = 0; j < chains->count; j++) {
            chains->distances[i * chains->count + j] =
                layout_straight_m(chains->layout, index[i], index[j]);
        }
    }
    free(index);
    return 0;
}

int chance_travelling_hz(struct layout *layout, const double *rates_hz, size_t k,
                         const struct chance_hops *hops, double *rate_hz, struct error *error)
{
    struct chains chains = {.layout = layout, .hops = hops};
    int status = chains_init(&chains, rates_hz, error);
    if (status == 0) {
        *rate_hz = k >= 2 ? chains_sum(&chains, k) : 0.0;
    }
    free(chains.distances);
    return status;
}

struct chance chance_of_night(double rate_hz)
{
    struct chance chance = {.method = CHANCE_ANALYTIC};
    chance.per_night = rate_hz * CHANCE_NIGHT_S;
    chance.p_value = -expm1(-chance.per_night);
    return chance;
}
