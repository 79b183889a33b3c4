/* Lanes ahead of the correlator, on all processors: it hears what they said in the order of the
 * calls, so that nothing comes out otherwise than with one thread.
 * Must never leave a task undone when something else is asked of the pipeline. */
#include "collector/pipeline/pipeline_inside.h"

int pipeline_work_ahead(struct pipeline *pipeline, struct error *error)
{
    struct lane_sink sink = pipeline_lane_sink(pipeline);
    return ahead_new(pipeline->site->node_count, &sink, &pipeline->ahead, error);
}

/* As the call itself would have gone on once the lane had done its part. */
static int follow_task(struct pipeline *pipeline, const struct ahead_task *task,
                       const struct lane_sink *sink, struct error *error)
{
    bool push = task->kind == AHEAD_PUSH;
    if (push &&
        pipeline_check_late(pipeline, task->node, task->block, task->had_begun, error) != 0) {
        return -1;
    }
    ahead_tell(task, sink);
    if (task->failed) {
        *error = *ahead_failure(pipeline->ahead, task);
        return push ? error_wrap(error, "%s", pipeline->site->nodes[task->node].id) : -1;
    }
    if (push) {
        pipeline_note_pushed(pipeline, task->block);
    }
    if (task->kind == AHEAD_ADVANCE) {
        return pipeline_note_advanced(pipeline, task->node, task->time_ns, task->horizon_ns, error);
    }
    return pipeline_report_failure(pipeline, error);
}

/* Begins with what has gathered, and meanwhile tells what was done before. */
static int turn(struct pipeline *pipeline, struct error *error)
{
    struct ahead *ahead = pipeline->ahead;
    struct lane_sink sink = pipeline_lane_sink(pipeline);
    ahead_turn(ahead, pipeline->lanes);
    for (size_t i = 0; i < ahead_count(ahead); i++) {
        if (follow_task(pipeline, ahead_get(ahead, i), &sink, error) != 0) {
            ahead_drop(ahead);
            return -1;
        }
    }
    ahead_clear(ahead);
    return 0;
}

int pipeline_catch_up(struct pipeline *pipeline, struct error *error)
{
    while (pipeline->ahead && !ahead_empty(pipeline->ahead)) {
        if (turn(pipeline, error) != 0) {
            return -1;
        }
    }
    return 0;
}

int pipeline_add_task(struct pipeline *pipeline, const struct ahead_task *task,
                      const struct block *block, struct error *error)
{
    if (ahead_add(pipeline->ahead, task, block, error) != 0) {
        return -1;
    }
    return ahead_full(pipeline->ahead) ? turn(pipeline, error) : 0;
}
