/* What lane.c and lane_groups.c share: the lane itself and the making of its detectors.
 * Must never be included from outside the two. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_LANE_PARTS_H
#define ROOMWAKE_COLLECTOR_PIPELINE_LANE_PARTS_H

#include "collector/pipeline/lane.h"

/* One detector and the channels that it is fed from. */
struct group_slot {
    struct lane *lane;
    char quantity[IDENT_SIZE];
    size_t axis_count;
    uint16_t axes[3];
    struct detector *detector; /* NULL: a switch whose lane has not started */
    bool watching;
};

/* A block of a switch, until the lane starts. */
struct waiting {
    struct waiting *next;
    struct group_slot *slot;
    struct block block;
    int64_t space[]; /* its times and values */
};

struct lane_clock {
    int64_t time_ns;
    int64_t sd_ns;
};

struct lane {
    struct detector_settings settings;
    uint32_t node;
    struct lane_sink sink;
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
    int64_t last_ns[NODE_CHANNELS_MAX];          /* of the last sample of each channel */
    struct group_slot *slots[NODE_CHANNELS_MAX]; /* NULL: not detected in */
    size_t group_count;
    struct group_slot groups[NODE_CHANNELS_MAX];
    int64_t first_ns; /* of all samples; INT64_MAX before one came */
    int64_t until_ns;
    bool started;
    struct waiting *waiting;  /* oldest first */
    struct lane_clock *steps; /* told before the start, for the detectors made then */
    size_t step_count;
};

/* Groups the channels and makes all detectors but those of switches. */
int lane_make_groups(struct lane *lane, struct error *error);
/* Makes those of switches, with lane->settings.start_ns. */
int lane_make_late_detectors(struct lane *lane, struct error *error);

#endif
