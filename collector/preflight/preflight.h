/* Whether a node can be left alone for the night: each fault by its name, with its numbers.
 * Pure: must never do I/O, read a clock or wait; says nothing of what it can't know from afar, as
 * which room a node stands in (walk.h tells that). */
#ifndef ROOMWAKE_COLLECTOR_PREFLIGHT_PREFLIGHT_H
#define ROOMWAKE_COLLECTOR_PREFLIGHT_PREFLIGHT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/preflight/channel_look.h"
#include "common/message.h"
#include "common/site.h"

/* The earth's own field at its surface, T: least about 22 uT (South Atlantic), greatest about 67 uT
 * (near the southern magnetic pole), by the World Magnetic Model (NOAA NCEI and BGS; figures as
 * published with its maps, from memory). */
#define PREFLIGHT_FIELD_LEAST_T 22e-6
#define PREFLIGHT_FIELD_MOST_T 67e-6

enum preflight_fault {
    PREFLIGHT_NOT_HEARD,
    PREFLIGHT_GONE,
    PREFLIGHT_CLOCK, /* not in time, or its samples are late or ahead */
    PREFLIGHT_DEAD,  /* a channel without samples */
    PREFLIGHT_STUCK,
    PREFLIGHT_CLIPPED,
    PREFLIGHT_NOISE, /* much more than the part has, or much less */
    PREFLIGHT_RATE,
    PREFLIGHT_BATTERY,
    PREFLIGHT_STORAGE,
    PREFLIGHT_FIELD,
    PREFLIGHT_DRIVER, /* the node itself says what fails */
    PREFLIGHT_FAULTS
};
const char *preflight_fault_text(enum preflight_fault fault);

/* What was seen of one node; looks[] by the place of its channels. */
struct preflight_node {
    bool heard;
    bool has_state; /* a node that speaks SenML has none */
    struct message_state state;
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
    struct channel_look looks[NODE_CHANNELS_MAX];
    int64_t last_ns; /* of its newest sample; 0: none */
};

struct preflight_wish {
    double night_s;
    double looked_s; /* how long was looked for */
    int64_t now_ns;  /* site time */
};

#define PREFLIGHT_LINES_MAX 24
#define PREFLIGHT_LINE_SIZE 240
struct preflight_line {
    enum preflight_fault fault;
    bool stops; /* no go; else worth knowing */
    char text[PREFLIGHT_LINE_SIZE];
};

struct preflight_report {
    bool go;
    size_t line_count;
    struct preflight_line lines[PREFLIGHT_LINES_MAX];
    char well[PREFLIGHT_LINE_SIZE]; /* what is right, in words */
};

/* All nodes at once, since their fields are compared; nodes[] and reports[] are one a node of the
 * site. */
void preflight_judge(const struct site *site, const struct preflight_node *nodes,
                     const struct preflight_wish *wish, struct preflight_report *reports);
/* Length of the static vector, T; 0 where the node has no three axes. */
double preflight_field_t(const struct preflight_node *node);

#endif
