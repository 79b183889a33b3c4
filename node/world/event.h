/* One timed event of a script, and the wires that loads are switched on. Plain values.
 * Must never hold a pointer: repeats are copies.
 * Part of script.h, which every user includes; alone only by script_event.h. */
#ifndef ROOMWAKE_NODE_WORLD_EVENT_H
#define ROOMWAKE_NODE_WORLD_EVENT_H

#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "node/world/path.h"

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

#endif
