/* Ordering and counting of the disturbances that took part.
 * Must never keep state. Called by correlator, cluster, judge and the causes. */
#include "collector/correlate/witness.h"

#include <string.h>

int witness_compare(const struct disturbance *a, const struct disturbance *b)
{
    if (a->onset_ns != b->onset_ns) {
        return a->onset_ns < b->onset_ns ? -1 : 1;
    }
    if (a->node != b->node) {
        return a->node < b->node ? -1 : 1;
    }
    if (a->quantity != b->quantity) {
        return a->quantity < b->quantity ? -1 : 1;
    }
    int text = strcmp(a->quantity_text, b->quantity_text);
    if (text != 0) {
        return text;
    }
    return (a->band > b->band) - (a->band < b->band);
}

bool witness_same(const struct disturbance *a, const struct disturbance *b)
{
    return witness_compare(a, b) == 0;
}

bool witness_is_slow(enum quantity quantity)
{
    return quantity == QUANTITY_TEMPERATURE || quantity == QUANTITY_HUMIDITY;
}

/* Whether an earlier member is of the same node, and of the same quantity too. */
static void seen_before(const struct disturbance *const *members, size_t index, bool *node,
                        bool *quantity)
{
    *node = false;
    *quantity = false;
    for (size_t i = 0; i < index && !*quantity; i++) {
        if (members[i]->node == members[index]->node) {
            *node = true;
            *quantity = strcmp(members[i]->quantity_text, members[index]->quantity_text) == 0;
        }
    }
}

void witness_count(const struct site *site, const struct disturbance *const *members, size_t count,
                   struct coincidence *coincidence)
{
    coincidence->witness_count = 0;
    coincidence->node_count = 0;
    coincidence->control_took_part = false;
    for (size_t i = 0; i < count; i++) {
        const struct disturbance *member = members[i];
        bool node;
        bool quantity;
        seen_before(members, i, &node, &quantity);
        coincidence->witness_count += quantity ? 0 : 1;
        if (node) {
            continue;
        }
        coincidence->node_count++;
        if (member->node < site->node_count && site->nodes[member->node].control) {
            coincidence->control_took_part = true;
        }
    }
}
