/* A disturbance on its way through the correlator: as it was opened, and as it ended.
 * Must never show its end before the data time at which the end was known.
 * Called by queue, cluster and correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_ENTRY_H
#define ROOMWAKE_COLLECTOR_CORRELATE_ENTRY_H

#include <stdbool.h>

#include "collector/model/disturbance.h"

/* Owned by the correlator's list; clusters hold it while it is theirs. */
struct entry {
    struct disturbance opened;
    struct disturbance closed;
    bool close_told; /* `closed` is filled, its data time may still be ahead */
    bool ended;      /* that data time has passed */
    bool onset_told; /* the sink knows it */
    unsigned holders;
    struct entry *previous;
    struct entry *next;
};

/* What is known of it at the present data time. */
static inline const struct disturbance *entry_now(const struct entry *entry)
{
    return entry->ended ? &entry->closed : &entry->opened;
}

#endif
