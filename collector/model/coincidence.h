/* A coincidence: disturbances of independent witnesses that belong together, with order, path,
 * chance and cause. Caller-owned plain value. Must never claim an order that the clocks can't
 * carry. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_COINCIDENCE_H
#define ROOMWAKE_COLLECTOR_MODEL_COINCIDENCE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/model/disturbance.h"

#define COINCIDENCE_MEMBERS_MAX 64
#define COINCIDENCE_REASONS_MAX 16
#define COINCIDENCE_REASON_SIZE 448

enum coincidence_kind { COINCIDENCE_PROMPT, COINCIDENCE_TRAVELLING };

/* In the contract's order; the texts are the contract's ("mains-switching" ...). */
enum cause_kind {
    CAUSE_UNEXPLAINED,
    CAUSE_MAINS_SWITCHING,
    CAUSE_MOVING_MAGNET,
    CAUSE_RADIO_BURST,
    CAUSE_PERSON_WALKING,
    CAUSE_DRAUGHT,
    CAUSE_HEATING_CYCLE,
    CAUSE_GEOMAGNETIC,
    CAUSE_SENSOR_FAULT,
    CAUSE_TEAM,
    CAUSE_COUNT
};

const char *cause_text(enum cause_kind cause);
const char *coincidence_kind_text(enum coincidence_kind kind);

/* One node's place in the order: its earliest onset among the members. */
struct order_entry {
    uint32_t node;
    int64_t onset_ns;
    int64_t onset_sd_ns;
    double first_probability; /* that this node was the first of all */
};

struct path_step {
    uint32_t room; /* index in the site */
    int64_t time_ns;
};

struct speed {
    bool known;
    double value_m_s;
    double low_m_s; /* 95 % interval */
    double high_m_s;
};

struct verdict {
    enum cause_kind cause;
    enum cause_kind ordinary; /* what it would be if no mark counted */
    size_t reason_count;
    char reasons[COINCIDENCE_REASONS_MAX]
                [COINCIDENCE_REASON_SIZE]; /* each test's numbers in words */
};

enum chance_method {
    CHANCE_ANALYTIC,    /* from the nodes' rates, while the night goes on */
    CHANCE_TIME_SLIDES, /* from the night's own onsets, shifted against each other, at its end */
};
const char *chance_method_text(enum chance_method method);

/* Both count what is as rare as it, of whatever kind. Analytic: from the nodes' rates, p_value =
 * 1 - exp(-per_night). Time slides: per_night counts what ranks at or above it, p_value is the part
 * of recordings like this one (of its own length) that chance alone gives at least one such: (1 +
 * n) / (1 + N). */
struct chance {
    double per_night; /* expected number in CHANCE_NIGHT_S by accident */
    double p_value;
    enum chance_method method;
};

/* Where it came from, in the plan of the site. Its error ellipse has the half axes of one sigma. */
struct source {
    bool known;
    double x_m;
    double y_m;
    double sd_m; /* root of the sum of both variances */
    double major_m;
    double minor_m;
    double major_deg; /* direction of the major axis, from x towards y, -90 to 90 */
};

struct coincidence {
    int64_t id; /* from 1 in the order in which they were recognised */
    enum coincidence_kind kind;
    int64_t start_ns; /* first onset */
    int64_t end_ns;   /* last end among the members; the last onset where none has ended */
    size_t member_count;
    struct disturbance members[COINCIDENCE_MEMBERS_MAX]; /* in order of onset */
    size_t dropped_members; /* beyond COINCIDENCE_MEMBERS_MAX: counted, never silent */
    size_t witness_count;   /* distinct (node, quantity) */
    size_t node_count;      /* distinct nodes: what chance is computed for */
    bool control_took_part;
    size_t order_count; /* one entry a node, by onset */
    struct order_entry order[COINCIDENCE_MEMBERS_MAX];
    bool first_known; /* order[0] is first with at least the site's order_confidence */
    bool together;    /* all onsets agree within their uncertainties */
    size_t path_count;
    struct path_step path[COINCIDENCE_MEMBERS_MAX];
    struct speed speed;
    struct source source;
    struct verdict verdict;
    struct chance chance;
    int64_t mark_id; /* the mark that covers it; 0 for none */
    bool final;      /* false: told early so that an alert need not wait; a final one follows */
    bool again;      /* it was final before: marks or what came since change what it is called */
    bool alert;      /* set by alert/policy, never by correlate */
};

#endif
