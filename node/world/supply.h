/* The building's mains: the phase of the supply, and each wire's current over time.
 * Must never know of nodes. Called by the world and its samplers. */
#ifndef ROOMWAKE_NODE_WORLD_SUPPLY_H
#define ROOMWAKE_NODE_WORLD_SUPPLY_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "node/world/script.h"

#define SUPPLY_HARMONICS 3 /* the fundamental, the third and the fifth */
extern const int supply_harmonic[SUPPLY_HARMONICS];

/* From at_ns on, the switched loads of a wire sum up to amps (rms). */
struct supply_step {
    int64_t at_ns;
    double amps;
};

/* Caller-owned: supply_init, supply_free. Read-only in between; `script` must outlive it. */
struct supply {
    const struct script *script;
    uint64_t key;
    double wander_phase[3];
    size_t step_count[SCRIPT_WIRES_MAX];
    struct supply_step *steps[SCRIPT_WIRES_MAX];
    size_t switch_count; /* all times at which any wire's load changes, rising */
    int64_t *switch_ns;
};

int supply_init(struct supply *supply, const struct script *script, struct error *error);
void supply_free(struct supply *supply);

/* Cycles of the fundamental since time 0 (with its fraction), by a closed formula, so that every
 * node finds the same phase at the same moment. */
double supply_cycles(const struct supply *supply, int64_t time_ns);
/* The rms current of a wire at one harmonic; at the very moment of a switch the new one. */
double supply_wire_amps(const struct supply *supply, size_t wire, int harmonic, int64_t time_ns);
double supply_switched_amps(const struct supply *supply, size_t wire, int64_t time_ns);
/* All loads that hang on wires fed by no other: what the supply sags under. */
double supply_total_amps(const struct supply *supply, int64_t time_ns);
/* The last switch at or before time_ns (INT64_MIN: none) and the first after it (INT64_MAX). */
void supply_switch_bounds(const struct supply *supply, int64_t time_ns, int64_t *last_ns,
                          int64_t *next_ns);

#endif
