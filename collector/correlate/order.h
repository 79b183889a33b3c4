/* Which node was first, as a probability from the onsets' uncertainties.
 * Must never claim an order that the clocks can't carry. Called by judge. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_ORDER_H
#define ROOMWAKE_COLLECTOR_CORRELATE_ORDER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/coincidence.h"

/* The moment an onset is centred on. A sample shows what began since the one before it: on the
 * average half an interval ago, which differs between nodes of different rates. */
int64_t order_moment_ns(const struct disturbance *disturbance);

/* One entry a node, at most `size`, in order of onset: its earliest member, or one that agrees with
 * it within two sigma and is surer (the earliest of several is early by choice). Members come in
 * order of onset. Returns how many. */
size_t order_gather(const struct disturbance *const *members, size_t count,
                    struct order_entry *entries, size_t size);

/* P(a before b) = Phi((b - a) / sqrt(sd_a^2 + sd_b^2)); 0.5 where both are exact and equal. */
double order_before(int64_t a_ns, int64_t sd_a_ns, int64_t b_ns, int64_t sd_b_ns);

/* Fills first_probability of each entry: the integral of phi_i times the product of (1 - Phi_j).
 * Entries are in order of onset, at most COINCIDENCE_MEMBERS_MAX. */
void order_first(struct order_entry *entries, size_t count);

/* Whether all onsets agree with one single moment: their chi-square about the weighted mean is one
 * that single moments give with this probability. What is claimed of single moments beyond it stays
 * under 1 - confidence. */
bool order_together(const struct order_entry *entries, size_t count, double confidence);

#endif
