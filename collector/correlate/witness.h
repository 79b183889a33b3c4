/* Who counts: the order of disturbances, and witnesses counted once per node and quantity.
 * Must never count a node twice because two of its sensors saw the same thing.
 * Called by correlator, cluster, judge and the causes. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_WITNESS_H
#define ROOMWAKE_COLLECTOR_CORRELATE_WITNESS_H

#include <stdbool.h>
#include <stddef.h>

#include "collector/model/coincidence.h"
#include "common/site.h"

/* By (onset, node, quantity, band): below, at or above zero like strcmp. */
int witness_compare(const struct disturbance *a, const struct disturbance *b);
/* The same disturbance: equal onset, node, quantity and band. */
bool witness_same(const struct disturbance *a, const struct disturbance *b);

/* Temperature and humidity: their onsets tell of air, not of a moment. */
bool witness_is_slow(enum quantity quantity);

/* Fills witness_count, node_count, control_took_part and the order (without probabilities) from
 * `members`, which are in order of onset. Order entries beyond COINCIDENCE_MEMBERS_MAX are left
 * out; the counts are of all. */
void witness_count(const struct site *site, const struct disturbance *const *members, size_t count,
                   struct coincidence *coincidence);

#endif
