/* The numbers that say what a coincidence is, in one place.
 * Must never hold a number that the user sets: those are in the site file.
 * Included by correlator.h and by correlate's parts. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_LIMITS_H
#define ROOMWAKE_COLLECTOR_CORRELATE_LIMITS_H

#include <stdint.h>

/* Chance rates are told per night of this length, whatever the recording's own length. */
#define CHANCE_NIGHT_S 28800.0

/* Two onsets are prompt when no further apart than this plus twice their joint clock uncertainty.
 */
#define GATE_PROMPT_NS INT64_C(250000000)
/* A travelling hop's speed, straight distance over delay: a slow draught to a run. */
#define GATE_SLOWEST_M_S 0.1
#define GATE_FASTEST_M_S 7.0

#endif
