/* What many lanes are to do, done by all processors at once, and what they said meanwhile.
 * Must never let the order of threads show: what was said is read in the order of the tasks.
 * Called by pipeline. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_AHEAD_H
#define ROOMWAKE_COLLECTOR_PIPELINE_AHEAD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/pipeline/lane.h"

enum ahead_kind {
    AHEAD_PUSH,
    AHEAD_CLOCK,
    AHEAD_ADVANCE,
};

struct ahead_word;

struct ahead_task {
    enum ahead_kind kind;
    uint32_t node;
    struct block *block; /* of a push; the task's own copy */
    int64_t time_ns;     /* of a clock, or advanced to */
    int64_t clock_sd_ns;
    /* once done: */
    bool had_begun; /* the lane, before */
    bool failed;    /* and the lane's later tasks are left undone */
    int64_t horizon_ns;
    struct ahead_word *words; /* what the lane said, in order */
    struct ahead_word *last_word;
    size_t next; /* of the same lane; SIZE_MAX: none */
};

struct ahead;

/* *sink is copied: it hears at once what a lane says when it does no task. */
int ahead_new(size_t node_count, const struct lane_sink *sink, struct ahead **ahead,
              struct error *error);
/* Before the lanes are freed. */
void ahead_free(struct ahead *ahead);
/* Where that node's lane is to say what it finds. */
struct lane_sink ahead_sink(struct ahead *ahead, uint32_t node);

/* Copies the task and its block into the batch that gathers. */
int ahead_add(struct ahead *ahead, const struct ahead_task *task, const struct block *block,
              struct error *error);
/* Enough has gathered to be worth all processors. */
bool ahead_full(const struct ahead *ahead);
/* Whether nothing gathers, is being done, or is there to be told. */
bool ahead_empty(const struct ahead *ahead);
/* Waits for the batch that is being done, which is then there to be told, and has each lane begin
 * with what has gathered, in its order; lanes[] by node. They must be left alone until the next
 * turn. What was there to be told must have been cleared. */
void ahead_turn(struct ahead *ahead, struct lane *const lanes[]);
/* The tasks to be told. */
size_t ahead_count(const struct ahead *ahead);
const struct ahead_task *ahead_get(const struct ahead *ahead, size_t index);
/* Why a task failed. */
const struct error *ahead_failure(const struct ahead *ahead, const struct ahead_task *task);
/* Says the task's words again, to `sink`. */
void ahead_tell(const struct ahead_task *task, const struct lane_sink *sink);
/* Forgets the tasks to be told; what comes gathers in their place. */
void ahead_clear(struct ahead *ahead);
/* Waits for what is being done and forgets everything. */
void ahead_drop(struct ahead *ahead);

#endif
