/* Which channels of a node go together, and the detectors for them.
 * Must never group axes of different rates, nor detect in battery or clock. Called by lane. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_LANE_GROUPS_H
#define ROOMWAKE_COLLECTOR_PIPELINE_LANE_GROUPS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/detect/detector.h"
#include "collector/model/quiet.h"
#include "common/block.h"
#include "common/channel.h"
#include "common/error.h"

struct lane_sink {
    void *context;
    void (*opened)(void *context, const struct disturbance *disturbance);
    void (*closed)(void *context, const struct disturbance *disturbance);
    void (*noticed)(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                    const char *text);
    /* Once a quantity's quiet spell is over. */
    void (*watching)(void *context, uint32_t node, const char *quantity, int64_t time_ns);
};

struct lane_groups;

/* Quiet spells that may begin between two advances. */
#define LANE_STAGES 3

/* Learns anew from from_ns on, beside the detector that still has earlier samples to judge. */
struct lane_stage {
    int64_t from_ns;
    struct detector *detector;
};

/* One detector and the channels that it is fed from. */
struct lane_group {
    struct lane_groups *home;
    char quantity[IDENT_SIZE];
    size_t axis_count;
    uint16_t axes[3];
    int64_t latency_ns; /* how late the sensor tells, by its calibration; 0: not known */
    int64_t latency_sd_ns;
    struct detector *detector; /* NULL: a switch, before lane_groups_start */
    bool watching;
    size_t stage_count;
    struct lane_stage stages[LANE_STAGES]; /* in order of time */
    bool stage_watching;                   /* the last of them has learnt */
    size_t orders_heeded;
};

struct lane_clock {
    int64_t time_ns;
    int64_t sd_ns;
};

/* The quiet spells that were asked for, in order of time; grows. */
struct lane_orders {
    size_t count;
    size_t size;
    struct quiet_order *list;
};

/* Caller-owned; settings, node, sink and channels are filled by the caller, who must not move it
 * afterwards. */
struct lane_groups {
    struct detector_settings settings;
    uint32_t node;
    struct lane_sink sink;
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
    struct lane_group *of_channel[NODE_CHANNELS_MAX]; /* NULL: not detected in */
    size_t count;
    struct lane_group groups[NODE_CHANNELS_MAX];
    bool started;
    struct lane_clock *steps; /* told before the start, for the detectors made then */
    size_t step_count;
    struct lane_clock last_step;
    const struct lane_orders *orders;
};

/* A time of the samples' of this group, without what its sensor tells late. */
int64_t lane_group_in_time_ns(const struct lane_group *group, int64_t time_ns);
/* Groups the channels and makes all detectors but those of switches. */
int lane_groups_make(struct lane_groups *groups, struct error *error);
/* Makes those of switches: they count their quiet spell from start_ns. */
int lane_groups_start(struct lane_groups *groups, int64_t start_ns, struct error *error);
int lane_groups_set_clock(struct lane_groups *groups, int64_t time_ns, int64_t clock_sd_ns,
                          struct error *error);
/* lane_stage.c: a block to the detectors whose samples it holds; ERROR_MEMORY, ERROR_STATE. */
int lane_groups_push(struct lane_group *group, const struct block *block, struct error *error);
/* All samples before until_ns have been pushed. */
int lane_groups_advance(struct lane_group *group, int64_t until_ns, struct error *error);
void lane_groups_finish(struct lane_group *group);
int lane_groups_make_detector(const struct lane_groups *groups, struct lane_group *slot,
                              const struct detector_settings *settings, struct detector **detector,
                              struct error *error);
void lane_groups_free(struct lane_groups *groups);

#endif
