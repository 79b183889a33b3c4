/* Which node was first, as a probability from the onsets' uncertainties.
 * Must never claim an order that the clocks can't carry. Called by judge. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_ORDER_H
#define ROOMWAKE_COLLECTOR_CORRELATE_ORDER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/coincidence.h"

/* P(a before b) = Phi((b - a) / sqrt(sd_a^2 + sd_b^2)); 0.5 where both are exact and equal. */
double order_before(int64_t a_ns, int64_t sd_a_ns, int64_t b_ns, int64_t sd_b_ns);

/* Fills first_probability of each entry: the integral of phi_i times the product of (1 - Phi_j).
 * Entries are in order of onset, at most COINCIDENCE_MEMBERS_MAX. */
void order_first(struct order_entry *entries, size_t count);

/* Whether all onsets agree with one single moment: chi-square of the weighted mean at 95 %. */
bool order_together(const struct order_entry *entries, size_t count);

#endif
