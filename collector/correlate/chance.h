/* How many coincidences of a kind a night brings by accident, from the nodes' own onset rates.
 * Must never assume that the rates are equal. Called by judge.
 * Sources: Eckart & Shonka 1938, Phys. Rev. 53:752; Janossy 1944, Nature 153:165. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_CHANCE_H
#define ROOMWAKE_COLLECTOR_CORRELATE_CHANCE_H

#include <stddef.h>

#include "collector/correlate/layout.h"
#include "collector/model/coincidence.h"

/* Elementary symmetric polynomial e_k of the rates: the sum over all choices of k nodes of the
 * product of their rates.. */
double chance_symmetric(const double *rates, size_t count, size_t k);

/* Rate, 1/s, at which any k of the nodes have onsets whose last is within tau_s of their first:
 * k * tau^(k-1) * e_k. */
double chance_prompt_hz(const double *rates_hz, size_t count, size_t k, double tau_s);

/* What hops count as one chain. */
struct chance_hops {
    double slack_m;
    double extra_s; /* added to every hop's window for the uncertainty of its onsets */
    double slowest_m_s;
    double fastest_m_s;
};

/* Rate, 1/s, of ordered chains of k nodes whose every hop passes the gate and, from the second on,
 * agrees in speed with the first. Chains that come back to a node count too, so that it is
 * overstated a little. `rates_hz` is one a node of the layout. ERROR_MEMORY. */
int chance_travelling_hz(struct layout *layout, const double *rates_hz, size_t k,
                         const struct chance_hops *hops, double *rate_hz, struct error *error);

/* Expected number in CHANCE_NIGHT_S, and the probability of at least one. */
struct chance chance_of_night(double rate_hz);

#endif
