/* The pipeline's parts, and a lane's step as seen by the correlator.
 * Must never be included but by pipeline*.c. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_PIPELINE_INSIDE_H
#define ROOMWAKE_COLLECTOR_PIPELINE_PIPELINE_INSIDE_H

#include "collector/correlate/correlator.h"
#include "collector/pipeline/ahead.h"
#include "collector/pipeline/lane.h"
#include "collector/pipeline/merge.h"
#include "collector/pipeline/pipeline.h"

struct pipeline {
    const struct site *site;
    struct finding_sink sink;
    struct correlator *correlator;
    struct merge *merge;
    struct lane **lanes; /* one a node; NULL before its channels are told */
    struct ahead *ahead; /* NULL: each call is done at once */
    int64_t horizon_ns;  /* the correlator has been advanced so far */
    int64_t latest_ns;   /* of all samples: the night's end */
    int64_t reached_ns;  /* or of an advance */
    struct lane_orders orders;
    bool failed;
    struct error failure; /* the first error within a callback */
};

/* pipeline.c: a lane's words go into the correlator. */
struct lane_sink pipeline_lane_sink(struct pipeline *pipeline);
void pipeline_keep_failure(struct pipeline *pipeline, const struct error *error);
int pipeline_report_failure(const struct pipeline *pipeline, struct error *error);
/* Whether a block begins before what all others are known to; `begun`: its lane was advanced. */
int pipeline_check_late(const struct pipeline *pipeline, uint32_t node, const struct block *block,
                        bool begun, struct error *error);
/* What follows once the lane has taken a block, or has advanced to a horizon of its own. */
void pipeline_note_pushed(struct pipeline *pipeline, const struct block *block);
int pipeline_note_advanced(struct pipeline *pipeline, uint32_t node, int64_t until_ns,
                           int64_t horizon_ns, struct error *error);

/* pipeline_ahead.c: keeps the task; does all of them once there are many. */
int pipeline_add_task(struct pipeline *pipeline, const struct ahead_task *task,
                      const struct block *block, struct error *error);
/* Does what waits, so that all is as if each call had been done at once. */
int pipeline_catch_up(struct pipeline *pipeline, struct error *error);

#endif
