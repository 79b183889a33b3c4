/* What happens in the simulated building: its wiring, its warmth, and a list of timed events.
 * Must never do I/O: the text comes from the caller. Every fault is named by its path. */
#ifndef ROOMWAKE_NODE_WORLD_SCRIPT_H
#define ROOMWAKE_NODE_WORLD_SCRIPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "common/site.h"
#include "node/world/path.h"

#define SCRIPT_WIRES_MAX 16
#define SCRIPT_CYCLES_MAX 8
#define SCRIPT_EVENTS_MAX 20000
#define SCRIPT_NO_WIRE SIZE_MAX
#define SCRIPT_FOREVER INT64_MAX

enum event_kind {
    EVENT_LOAD,        /* a current on a wire, switched on and off */
    EVENT_WALK,        /* a person through rooms */
    EVENT_MAGNET,      /* a carried magnet, through rooms or along points */
    EVENT_PHONE,       /* a call: bursts on the antennas */
    EVENT_PULSE,       /* what no cause explains: it spreads from a place */
    EVENT_DRAUGHT,     /* a cold front through rooms */
    EVENT_GEOMAGNETIC, /* the same slow vector everywhere */
    EVENT_OUTAGE,      /* a node without power */
    EVENT_STUCK,       /* one channel of a node repeats its last value */
    EVENT_KINDS
};
const char *event_kind_text(enum event_kind kind);

/* Times count from the scenario's start. Fields that a kind has no use for are 0. */
struct event {
    enum event_kind kind;
    int64_t at_ns;
    int64_t length_ns;    /* SCRIPT_FOREVER: to the end */
    char who[IDENT_SIZE]; /* a role's name, for the truth list */
    size_t wire;          /* load */
    double amps;          /* load: rms */
    size_t room_count;    /* walk, magnet, draught: the way; phone: where */
    size_t rooms[PATH_ROOMS_MAX];
    size_t point_count; /* magnet: explicit way */
    double points_m[PATH_ROOMS_MAX][3];
    double height_m;       /* walk, magnet: carried at this height above the floor */
    double speed_m_s;      /* walk, magnet, draught; pulse: of its spread, 0 for at once */
    double moment_a_m2[3]; /* magnet, pulse (a dipole), walk (the steel carried) */
    double at_m[3];        /* pulse: where it is; z from floor 0 */
    double field_t[3];     /* pulse, geomagnetic: the same vector wherever it reaches */
    double reach_m;        /* pulse: how far field_t reaches */
    double counts;         /* pulse: rise on antennas; phone: burst height at 1 m */
    double rise_s;
    double fall_s;
    double drop_c;                   /* draught */
    size_t node;                     /* outage, stuck */
    char channel[CHANNEL_NAME_SIZE]; /* stuck */
};

/* A long straight wire or a pair of them, carrying `standing_amps` (rms) of small loads. */
struct script_wire {
    char id[IDENT_SIZE];
    double through_m[3]; /* a point on it, z from floor 0 */
    double along[3];     /* unit vector */
    double across[3];    /* unit vector from return to go; pairs only */
    double spacing_m;    /* 0: a single wire, as where go and return take different ways */
    double standing_amps;
    size_t fed_by; /* an earlier wire that carries this one's current too, or NO_WIRE */
};

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
