/* What happens in the simulated building: its wiring, its warmth, and a list of timed events.
 * Must never do I/O: the text comes from the caller. Every fault is named by its path. */
#ifndef ROOMWAKE_NODE_WORLD_SCRIPT_H
#define ROOMWAKE_NODE_WORLD_SCRIPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "common/site.h"
#include "node/world/event.h"

#define SCRIPT_WIRES_MAX 16
#define SCRIPT_CYCLES_MAX 8
#define SCRIPT_EVENTS_MAX 20000

/* A motor or heater that switches by itself. */
struct script_cycle {
    size_t wire;
    double amps;
    double on_s;
    double off_s;
    double first_s;
    double jitter; /* of each stretch, as a part of it */
};

struct script_heating {
    bool present;
    double on_s;
    double off_s;
    double first_s;
    double rise_c; /* where it would end if never switched off */
    double lag_s;  /* of the room's air */
};

/* Caller-owned but for `events`: script_free. Read-only once parsed. */
struct script {
    uint64_t seed;
    int64_t length_ns;
    double mains_hz;
    double mains_wander_hz; /* rms of the slow wander */
    double standing_wobble; /* rms of the slow wobble of standing loads, as a part of them */
    double third;           /* harmonics of the standing loads, as parts of the fundamental */
    double fifth;
    double pickup_counts; /* mains on an antenna 1 m from a wire, peak */
    double earth_t;
    double dip_deg;
    double north_deg;
    double inside_c;
    double outside_c;
    struct script_heating heating;
    double motion_range_m;
    double motion_hold_s;
    double motion_blind_s;
    double motion_warm_up_s;
    double motion_latency_s;
    double motion_false_per_hour;
    double noise_magnetic_counts;
    double noise_electric_counts;
    double noise_slow;    /* slow wander of any sensor, as a part of its noise */
    double offset_t;      /* how far a magnetometer's zero may be off, either way */
    double gain_error;    /* how far its gain may be off, as a part of it */
    double drift_t_per_c; /* how its zero moves with temperature, rms over nodes */
    size_t wire_count;
    struct script_wire wires[SCRIPT_WIRES_MAX];
    size_t cycle_count;
    struct script_cycle cycles[SCRIPT_CYCLES_MAX];
    size_t event_count;
    struct event *events; /* in order of at_ns, repeats written out */
};

/* `name` is what errors call the text. On success *script is the caller's: script_free. */
int script_parse(const char *text, size_t length, const char *name, const struct site *site,
                 struct script **script, struct error *error);
void script_free(struct script *script);

#endif
