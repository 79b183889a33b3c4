/* Blocks into each node's lane, the lanes' disturbances into the correlator, as far as all nodes
 * are known. Must never lose an error of a callback: the call that caused it returns it.
 * Called by record, import and re-analysis. */
#include "collector/pipeline/pipeline.h"

#include <math.h>
#include <stdlib.h>

#include "collector/detect/detector.h"
#include "collector/pipeline/pipeline_inside.h"

void pipeline_keep_failure(struct pipeline *pipeline, const struct error *error)
{
    if (!pipeline->failed) {
        pipeline->failed = true;
        pipeline->failure = *error;
    }
}

int pipeline_report_failure(const struct pipeline *pipeline, struct error *error)
{
    if (!pipeline->failed) {
        return 0;
    }
    return error_set(error, pipeline->failure.code, "%s", pipeline->failure.text);
}

static void on_opened(void *context, const struct disturbance *disturbance)
{
    struct pipeline *pipeline = context;
    struct error error;
    if (correlator_open(pipeline->correlator, disturbance, &error)) {
        pipeline_keep_failure(pipeline, &error);
    }
}

static void on_closed(void *context, const struct disturbance *disturbance)
{
    struct pipeline *pipeline = context;
    correlator_close(pipeline->correlator, disturbance);
}

static void on_watching(void *context, uint32_t node, const char *quantity, int64_t time_ns)
{
    struct pipeline *pipeline = context;
    struct error error;
    if (correlator_watch(pipeline->correlator, node, quantity, time_ns, &error)) {
        pipeline_keep_failure(pipeline, &error);
    }
}

static void on_noticed(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    const struct pipeline *pipeline = context;
    if (pipeline->sink.noticed) {
        pipeline->sink.noticed(pipeline->sink.context, node, quantity, time_ns, text);
    }
}

static void on_disturbance(void *context, const struct disturbance *disturbance)
{
    const struct pipeline *pipeline = context;
    if (pipeline->sink.disturbance) {
        pipeline->sink.disturbance(pipeline->sink.context, disturbance);
    }
}

static void on_disturbance_ended(void *context, const struct disturbance *disturbance)
{
    const struct pipeline *pipeline = context;
    if (pipeline->sink.disturbance_ended) {
        pipeline->sink.disturbance_ended(pipeline->sink.context, disturbance);
    }
}

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    const struct pipeline *pipeline = context;
    if (pipeline->sink.coincidence) {
        pipeline->sink.coincidence(pipeline->sink.context, coincidence);
    }
}

static void on_chance(void *context, int64_t coincidence_id, const struct chance *chance)
{
    const struct pipeline *pipeline = context;
    if (pipeline->sink.chance) {
        pipeline->sink.chance(pipeline->sink.context, coincidence_id, chance);
    }
}

static void on_unsteady(void *context, uint32_t node, int64_t time_ns, const char *text)
{
    on_noticed(context, node, "onsets", time_ns, text);
}

struct lane_sink pipeline_lane_sink(struct pipeline *pipeline)
{
    return (struct lane_sink){pipeline, on_opened, on_closed, on_noticed, on_watching};
}

int pipeline_new(const struct site *site, const struct finding_sink *sink,
                 struct pipeline **pipeline, struct error *error)
{
    struct pipeline *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    }
    made->site = site;
    made->sink = *sink;
    made->horizon_ns = INT64_MIN;
    made->latest_ns = INT64_MIN;
    made->reached_ns = INT64_MIN;
    made->lanes = calloc(site->node_count ? site->node_count : 1, sizeof(struct lane *));
    struct correlator_sink inner = {made,
                                    on_disturbance,
                                    on_disturbance_ended,
                                    on_coincidence,
                                    sink->chance ? on_chance : NULL,
                                    on_unsteady};
    int status = made->lanes ? 0 : error_set(error, ERROR_MEMORY, "pipeline: out of memory");
    if (status || merge_new(site->node_count, &made->merge, error) ||
        correlator_new(site, &inner, &made->correlator, error)) {
        pipeline_free(made);
        return -1;
    }
    *pipeline = made;
    return 0;
}

void pipeline_free(struct pipeline *pipeline)
{
    if (!pipeline) {
        return;
    }
    ahead_free(pipeline->ahead);
    for (size_t i = 0; pipeline->lanes && i < pipeline->site->node_count; i++) {
        lane_free(pipeline->lanes[i]);
    }
    free(pipeline->lanes);
    free(pipeline->orders.list);
    merge_free(pipeline->merge);
    correlator_free(pipeline->correlator);
    free(pipeline);
}

static int check_node(const struct pipeline *pipeline, uint32_t node, struct error *error)
{
    if (node >= pipeline->site->node_count) {
        return error_set(error, ERROR_RANGE, "pipeline: node %u is not of this site",
                         (unsigned)node);
    }
    return pipeline_report_failure(pipeline, error);
}

int pipeline_set_channels(struct pipeline *pipeline, uint32_t node, const struct channel *channels,
                          size_t count, struct error *error)
{
    if (check_node(pipeline, node, error) || pipeline_catch_up(pipeline, error)) {
        return -1;
    }
    struct lane *old = pipeline->lanes[node];
    if (old && lane_has_channels(old, channels, count)) {
        return 0;
    }
    const struct site *site = pipeline->site;
    struct detector_settings settings = {.mains_hz = site->mains_hz,
                                         .baseline_s = site->baseline_s,
                                         .false_onsets_per_hour = site->false_onsets_per_hour};
    struct lane_sink sink =
        pipeline->ahead ? ahead_sink(pipeline->ahead, node) : pipeline_lane_sink(pipeline);
    struct lane *made = NULL;
    int64_t sd_ns = (int64_t)llround(site->nodes[node].clock_error_s * 1e9);
    if (lane_new(&settings, node, channels, count, &pipeline->orders, &sink, &made, error) ||
        lane_set_clock(made, INT64_MIN, sd_ns, error) || (old && lane_finish(old, error))) {
        lane_free(made);
        return error_wrap(error, "%s", site->nodes[node].id);
    }
    lane_free(old);
    pipeline->lanes[node] = made;
    return pipeline_report_failure(pipeline, error);
}

static struct lane *find_lane(struct pipeline *pipeline, uint32_t node, struct error *error)
{
    if (check_node(pipeline, node, error)) {
        return NULL;
    }
    if (!pipeline->lanes[node]) {
        (void)error_set(error, ERROR_STATE, "%s: its channels are not known yet",
                        pipeline->site->nodes[node].id);
    }
    return pipeline->lanes[node];
}

/* A node that begins is not waited for, and has its quiet spell before it: never too late. */
int pipeline_check_late(const struct pipeline *pipeline, uint32_t node, const struct block *block,
                        bool begun, struct error *error)
{
    if (block->count > 0 && begun && block->t0_ns < pipeline->horizon_ns) {
        return error_set(error, ERROR_RANGE, "%s: block of %.3f s ago came too late",
                         pipeline->site->nodes[node].id,
                         (double)(pipeline->horizon_ns - block->t0_ns) * 1e-9);
    }
    return 0;
}

void pipeline_note_pushed(struct pipeline *pipeline, const struct block *block)
{
    if (block->count > 0) {
        int64_t last_ns = block_time_ns(block, block->count - 1);
        pipeline->latest_ns = last_ns > pipeline->latest_ns ? last_ns : pipeline->latest_ns;
        pipeline->reached_ns = last_ns > pipeline->reached_ns ? last_ns : pipeline->reached_ns;
    }
}

int pipeline_push(struct pipeline *pipeline, uint32_t node, const struct block *block,
                  struct error *error)
{
    struct lane *lane = find_lane(pipeline, node, error);
    if (!lane) {
        return -1;
    }
    if (pipeline->ahead) {
        struct ahead_task task = {.kind = AHEAD_PUSH, .node = node};
        return pipeline_add_task(pipeline, &task, block, error);
    }
    if (pipeline_check_late(pipeline, node, block, lane_has_begun(lane), error)) {
        return -1;
    }
    if (lane_push(lane, block, error)) {
        return error_wrap(error, "%s", pipeline->site->nodes[node].id);
    }
    pipeline_note_pushed(pipeline, block);
    return pipeline_report_failure(pipeline, error);
}

void pipeline_set_clock(struct pipeline *pipeline, uint32_t node, int64_t time_ns,
                        int64_t clock_sd_ns)
{
    struct error error;
    struct lane *lane = find_lane(pipeline, node, &error);
    if (!lane) {
        return;
    }
    struct ahead_task task = {
        .kind = AHEAD_CLOCK, .node = node, .time_ns = time_ns, .clock_sd_ns = clock_sd_ns};
    if (pipeline->ahead ? pipeline_add_task(pipeline, &task, NULL, &error)
                        : lane_set_clock(lane, time_ns, clock_sd_ns, &error)) {
        pipeline_keep_failure(pipeline, &error);
    }
}

static int advance_correlator(struct pipeline *pipeline, struct error *error)
{
    int64_t horizon_ns = merge_horizon_ns(pipeline->merge);
    if (horizon_ns <= pipeline->horizon_ns) {
        return pipeline_report_failure(pipeline, error);
    }
    pipeline->horizon_ns = horizon_ns;
    if (pipeline_report_failure(pipeline, error)) {
        return -1;
    }
    return correlator_advance(pipeline->correlator, horizon_ns, error);
}

int pipeline_note_advanced(struct pipeline *pipeline, uint32_t node, int64_t until_ns,
                           int64_t horizon_ns, struct error *error)
{
    pipeline->reached_ns = until_ns > pipeline->reached_ns ? until_ns : pipeline->reached_ns;
    merge_set(pipeline->merge, node, horizon_ns);
    return advance_correlator(pipeline, error);
}

int pipeline_advance(struct pipeline *pipeline, uint32_t node, int64_t until_ns,
                     struct error *error)
{
    struct lane *lane = find_lane(pipeline, node, error);
    if (lane && pipeline->ahead) {
        struct ahead_task task = {.kind = AHEAD_ADVANCE, .node = node, .time_ns = until_ns};
        return pipeline_add_task(pipeline, &task, NULL, error);
    }
    if (!lane || lane_advance(lane, until_ns, error)) {
        return -1;
    }
    return pipeline_note_advanced(pipeline, node, until_ns, lane_horizon_ns(lane), error);
}

int pipeline_set_waited_for(struct pipeline *pipeline, uint32_t node, bool waited_for,
                            struct error *error)
{
    if (check_node(pipeline, node, error) || pipeline_catch_up(pipeline, error)) {
        return -1;
    }
    merge_wait_for(pipeline->merge, node, waited_for);
    return advance_correlator(pipeline, error);
}

int64_t pipeline_reached_ns(const struct pipeline *pipeline)
{
    return pipeline->reached_ns;
}

size_t pipeline_count_learning(const struct pipeline *pipeline)
{
    size_t learning = 0;
    for (size_t i = 0; i < pipeline->site->node_count; i++) {
        learning += pipeline->lanes[i] ? lane_count_learning(pipeline->lanes[i]) : 0;
    }
    return learning;
}

int pipeline_quiet(struct pipeline *pipeline, const struct quiet_order *order, struct error *error)
{
    struct lane_orders *orders = &pipeline->orders;
    if (pipeline_catch_up(pipeline, error)) {
        return -1;
    }
    if (order->from_ns <= pipeline->reached_ns ||
        (orders->count > 0 && order->from_ns <= orders->list[orders->count - 1].from_ns)) {
        return error_set(error, ERROR_STATE, "baseline: samples of that time have been judged");
    }
    if (orders->count == orders->size) {
        size_t size = orders->size ? 2 * orders->size : 8;
        struct quiet_order *list = realloc(orders->list, size * sizeof *list);
        if (!list) {
            return error_set(error, ERROR_MEMORY, "pipeline: out of memory");
        }
        orders->list = list;
        orders->size = size;
    }
    orders->list[orders->count++] = *order;
    return order->end ? 0 : correlator_spell(pipeline->correlator, order->from_ns, error);
}

int pipeline_mark(struct pipeline *pipeline, const struct mark *mark, struct error *error)
{
    if (pipeline_catch_up(pipeline, error)) {
        return -1;
    }
    return correlator_mark(pipeline->correlator, mark, error);
}

int pipeline_finish(struct pipeline *pipeline, struct error *error)
{
    if (pipeline_catch_up(pipeline, error)) {
        return -1;
    }
    for (size_t i = 0; i < pipeline->site->node_count; i++) {
        if (pipeline->lanes[i] && lane_finish(pipeline->lanes[i], error)) {
            return -1;
        }
    }
    if (pipeline_report_failure(pipeline, error)) {
        return -1;
    }
    if (correlator_finish(pipeline->correlator, error)) {
        return -1;
    }
    return correlator_slide(pipeline->correlator, pipeline->latest_ns, error);
}
