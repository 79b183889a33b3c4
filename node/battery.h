/* How long a battery lasts at the pace at which its voltage falls. Pure: times and volts in.
 * Must never promise hours that the fall does not show. Called by sampler.c. */
#ifndef ROOMWAKE_NODE_BATTERY_H
#define ROOMWAKE_NODE_BATTERY_H

#include <stddef.h>
#include <stdint.h>

#define BATTERY_BINS 48u /* of five minutes: cells fall unevenly, the last four hours tell */

/* The mean of five minutes. */
struct battery_bin {
    int64_t begin_ns;
    double volts; /* their sum */
    uint32_t count;
};

/* Caller-owned; begin with battery_init. */
struct battery {
    double empty_v; /* NaN: not known, and then no hours are told */
    struct battery_bin bins[BATTERY_BINS];
    size_t count; /* the last one is still being filled */
};

void battery_init(struct battery *battery, double empty_v);
/* A reading. One far above those before says that the battery was changed or is charging. */
void battery_take(struct battery *battery, int64_t time_ns, double volts);
/* Hours until empty_v along a straight line through the last hours: at most 999, 0 once it is
 * there, NaN while the fall can't be told from the scatter of the readings (the first half hour at
 * least). */
double battery_hours_left(const struct battery *battery);

#endif
