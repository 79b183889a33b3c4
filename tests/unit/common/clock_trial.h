/* A node's clock line beside the truth of a simulated crystal and link, looked at time and again.
 * Must never sleep or read a clock: all time here is counted.
 * Used by the tests and benchmarks of the clock line. */
#ifndef ROOMWAKE_TESTS_CLOCK_TRIAL_H
#define ROOMWAKE_TESTS_CLOCK_TRIAL_H

#include <stdlib.h>

#include "tests/unit/common/clock_simulator.h"

#define TRIAL_SPAN_NS (7200 * NS_PER_S)
#define TRIAL_CRYSTAL_PPB 100000
#define TRIAL_LOOKS_MAX 60000 /* what comes after is left out */

struct trial_tally {
    size_t count, held;
    size_t away, held_away; /* while the base station is */
    double ratio[TRIAL_LOOKS_MAX], error_ns[TRIAL_LOOKS_MAX];
    double bound_of_half[TRIAL_LOOKS_MAX]; /* stated over half the least possible round trip */
};

struct trial {
    struct clock_sim sim;
    int64_t start_ns;
    int64_t out_ns, back_ns; /* no exchange between */
    int64_t settled_ns;      /* counted from here on, since the start */
    int bursts;
};

static inline int trial_ascending(const void *left, const void *right)
{
    double a = *(const double *)left;
    double b = *(const double *)right;
    return (a > b) - (a < b);
}

static inline double trial_quantile(double *values, size_t count, double share)
{
    if (count == 0) {
        return NAN;
    }
    qsort(values, count, sizeof values[0], trial_ascending);
    return values[(size_t)(share * (double)(count - 1))];
}

static inline void trial_note(struct trial_tally *tally, struct clock_sim *sim,
                              const struct clock_fit *fit, bool away)
{
    int64_t node_ns = sim_node_ns(sim, sim->site_ns);
    double error = fabs((double)sim_error_ns(sim, fit));
    double stated = (double)clock_fit_uncertainty_ns(fit, node_ns) * CLOCK_FIT_BOUND_PERCENT / 100;
    if (tally->count == TRIAL_LOOKS_MAX) {
        return;
    }
    tally->ratio[tally->count] = stated / fmax(error, 1);
    tally->error_ns[tally->count] = error;
    tally->bound_of_half[tally->count] = stated * 2 / (sim->base_out_ns + sim->base_back_ns);
    tally->count++;
    tally->held += error <= stated;
    tally->away += away;
    tally->held_away += away && error <= stated;
}

/* A burst every 8 s; a look at the line some time before the next. */
static inline void trial_run(struct trial *trial, struct trial_tally *tally)
{
    struct clock_sim *sim = &trial->sim;
    struct clock_fitter fitter;
    struct clock_fit fit = {0};
    struct clock_exchange burst[SIM_BURST];
    clock_fitter_init(&fitter, TRIAL_SPAN_NS, TRIAL_CRYSTAL_PPB);
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
            trial_note(tally, sim, &fit, away);
        }
    }
}

static inline struct trial trial_begin(struct clock_sim sim, int bursts)
{
    return (struct trial){.sim = sim,
                          .start_ns = sim.site_ns,
                          .out_ns = INT64_MAX,
                          .back_ns = INT64_MAX,
                          .bursts = bursts};
}

/* The base station is away for half an hour while the room changes by five degrees. */
static inline void trial_send_away(struct trial *trial)
{
    trial->out_ns = trial->start_ns + 900 * NS_PER_S;
    trial->back_ns = trial->out_ns + 1800 * NS_PER_S;
    trial->sim.change_ns = trial->out_ns;
    trial->sim.change_cel = sim_uniform(&trial->sim) < 0.5 ? 5 : -5;
}

#endif
