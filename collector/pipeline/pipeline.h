/* Blocks of all nodes -> detect -> correlate -> the sink. Live recording, import and re-analysis
 * push through these very calls. Must never do I/O or read a clock; knows no night, no alert. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_PIPELINE_H
#define ROOMWAKE_COLLECTOR_PIPELINE_PIPELINE_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/model/coincidence.h"
#include "collector/model/mark.h"
#include "collector/model/quiet.h"
#include "common/block.h"
#include "common/error.h"
#include "common/site.h"

struct finding_sink {
    void *context;
    void (*disturbance)(void *context, const struct disturbance *disturbance);
    void (*disturbance_ended)(void *context, const struct disturbance *disturbance);
    void (*coincidence)(void *context, const struct coincidence *coincidence);
    /* A node's quantity learnt its baseline, or can't; in words. */
    void (*noticed)(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                    const char *text);
    /* At the end: a better chance for a coincidence that was told. */
    void (*chance)(void *context, int64_t coincidence_id, const struct chance *chance);
};

struct pipeline;

/* `site` must outlive the pipeline; *sink is copied. */
int pipeline_new(const struct site *site, const struct finding_sink *sink,
                 struct pipeline **pipeline, struct error *error);
void pipeline_free(struct pipeline *pipeline);

/* From now on blocks, clocks and advances may wait until many have come, and are then done on all
 * processors: an error is told by a later call, pipeline_finish at the latest. What comes out is
 * the same, in the same order. For stored nights; before channels are told. */
int pipeline_work_ahead(struct pipeline *pipeline, struct error *error);

/* Tells a node's channels (from its hello, or the site file). Again with the same list: no effect.
 * With another list (rebooted with other sensors): the node's detectors start over. */
int pipeline_set_channels(struct pipeline *pipeline, uint32_t node, const struct channel *channels,
                          size_t count, struct error *error);
/* A block in site time. Times of one channel must rise from block to block: ERROR_RANGE otherwise
 * (a block that comes too late; it is stored, and joins at re-analysis). */
int pipeline_push(struct pipeline *pipeline, uint32_t node, const struct block *block,
                  struct error *error);
/* 1-sigma clock uncertainty of the node from time_ns on. */
void pipeline_set_clock(struct pipeline *pipeline, uint32_t node, int64_t time_ns,
                        int64_t clock_sd_ns);
/* All of the node's samples before until_ns have been pushed. */
int pipeline_advance(struct pipeline *pipeline, uint32_t node, int64_t until_ns,
                     struct error *error);
/* Whether the others wait for this node. A node that has never advanced is not waited for. */
int pipeline_set_waited_for(struct pipeline *pipeline, uint32_t node, bool waited_for,
                            struct error *error);
/* A quiet spell begun or ended by hand. In order of time, and later than every sample that was
 * pushed and all that was advanced to: ERROR_STATE otherwise (pipeline_reached_ns). */
int pipeline_quiet(struct pipeline *pipeline, const struct quiet_order *order, struct error *error);
/* The latest of all that was pushed or advanced to; INT64_MIN before the first. */
int64_t pipeline_reached_ns(const struct pipeline *pipeline);
/* How many quantities of all nodes are still in their quiet spell. */
size_t pipeline_count_learning(const struct pipeline *pipeline);
int pipeline_mark(struct pipeline *pipeline, const struct mark *mark, struct error *error);
int pipeline_finish(struct pipeline *pipeline, struct error *error);

#endif
