/* A play through the world, the detectors and the correlator; or, kept disturbances once more.
 * Must never tell the detectors what the play is. Part of bench_causes. */
#include "bench_causes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/correlator.h"
#include "collector/pipeline/pipeline.h"
#include "common/clock.h"
#include "node/world/rng.h"
#include "node/world/world.h"

#define FIRST_S (BENCH_BASELINE_S + 30.0)
#define NODES_MAX 16
#define RATE_MAX 256
#define FAULT_S 35.0

static uint64_t event_key(const struct run *run, size_t event)
{
    return rng_key(run->house->seed, event, rng_key_text(0, run->play->name));
}

static double length_s(const struct run *run)
{
    return FIRST_S + (double)run->events * run->play->spacing_s;
}

void run_plan(struct run *run)
{
    const struct play *play = run->play;
    double loose_s = fmax(0.0, play->spacing_s - play->after_s - 2.0);
    for (size_t i = 0; i < run->events; i++) {
        run->at_s[i] = FIRST_S + play->spacing_s * (double)i;
        if (!play->warm) {
            run->at_s[i] += house_between(event_key(run, i), 99, 0.0, loose_s);
        }
    }
}

static int write_script(const struct run *run, struct text *out)
{
    uint64_t key = rng_key(run->house->seed, 11, 0);
    const struct play *play = run->play;
    (void)text_append_format(out, "{\"version\":1,\"seed\":%llu,\"length_s\":%.0f,%s,",
                             (unsigned long long)(rng_bits(key, 0) >> 20), length_s(run) + 1.0,
                             run->house->settings);
    if (play->warm) {
        double on_s = play->spacing_s * house_between(key, 1, 0.3, 0.6);
        (void)text_append_format(out,
                                 "\"heating\":{\"on_s\":%.1f,\"off_s\":%.1f,\"first_s\":%.1f,"
                                 "\"rise_c\":%.2f,\"lag_s\":%.0f},",
                                 on_s, play->spacing_s - on_s, FIRST_S,
                                 house_between(key, 2, 4.0, 9.0), house_between(key, 3, 600, 1800));
    }
    (void)text_append_format(out, "\"events\":[");
    for (size_t i = 0; i < run->events; i++) {
        (void)text_append_format(out, i ? "," : "");
        play->write(run->house, out, run->at_s[i], event_key(run, i));
    }
    (void)text_append_format(out, "]}");
    return out->failed ? -1 : 0;
}

/* Nodes hang as they happen to: a turn of the three axes, its own for each. */
static void draw_turn(uint64_t key, double turn[3][3])
{
    double q[4];
    double norm = 0.0;
    for (uint64_t i = 0; i < 4; i++) {
        q[i] = rng_gaussian(key, i);
        norm += q[i] * q[i];
    }
    for (int i = 0; i < 4; i++) {
        q[i] /= sqrt(norm);
    }
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3;
        int k = (i + 2) % 3;
        turn[i][i] = 1.0 - 2.0 * (q[j + 1] * q[j + 1] + q[k + 1] * q[k + 1]);
        turn[i][j] = 2.0 * (q[i + 1] * q[j + 1] - q[0] * q[k + 1]);
        turn[i][k] = 2.0 * (q[i + 1] * q[k + 1] + q[0] * q[j + 1]);
    }
}

static void turn_counts(const double turn[3][3], int32_t counts[3][RATE_MAX], uint32_t count)
{
    for (uint32_t i = 0; i < count; i++) {
        double x = counts[0][i];
        double y = counts[1][i];
        double z = counts[2][i];
        for (int a = 0; a < 3; a++) {
            counts[a][i] = (int32_t)lrint(turn[a][0] * x + turn[a][1] * y + turn[a][2] * z);
        }
    }
}

struct stage {
    struct run *run;
    struct pipeline *pipeline;
    struct world *world;
    struct world_sampler *samplers[NODES_MAX];
    double turns[NODES_MAX][3][3];
};

/* A loose wire: the reading jumps to its rail about once a second. */
static void spoil(const struct run *run, uint32_t node, int64_t second, int32_t *counts,
                  uint32_t count)
{
    for (size_t i = 0; i < run->events; i++) {
        uint64_t key = event_key(run, i);
        double since_s = (double)second - run->at_s[i];
        if (since_s < 0.0 || since_s > FAULT_S ||
            node != rng_bits(key, 60) % run->house->site->node_count) {
            continue;
        }
        uint64_t jump = rng_bits(key, 1000 + (uint64_t)second);
        if (jump % 4 != 0) {
            uint32_t at = (uint32_t)(jump >> 8) % count;
            for (uint32_t k = at; k < count && k <= at + (uint32_t)(jump >> 40) % 3; k++) {
                counts[k] = 1023;
            }
        }
    }
}

static int push_motion(struct stage *stage, uint32_t node, uint16_t channel, int64_t from_ns,
                       struct error *error)
{
    struct world_change changes[64];
    int64_t times[65] = {0};
    int32_t counts[65] = {0};
    uint32_t count = from_ns == 0;
    size_t more = world_sampler_changes(stage->samplers[node], from_ns - 1, from_ns + NS_PER_S - 1,
                                        changes, 64);
    for (size_t i = 0; i < more; i++) {
        times[count] = changes[i].time_ns;
        counts[count++] = changes[i].count;
    }
    struct block block = {.channel = channel,
                          .count = count,
                          .t0_ns = count ? times[0] : 0,
                          .times_ns = times,
                          .counts = counts};
    return count ? pipeline_push(stage->pipeline, node, &block, error) : 0;
}

static int push_second(struct stage *stage, uint32_t node, int64_t second, struct error *error)
{
    int32_t counts[4][RATE_MAX];
    const struct play *play = stage->run->play;
    size_t channels;
    const struct channel *channel = world_sampler_channels(stage->samplers[node], &channels);
    int64_t from_ns = second * NS_PER_S;
    for (uint16_t i = 0; i < channels; i++) {
        uint32_t rate = (uint32_t)(channel[i].rate_hz + 0.5);
        bool three = i < 3 && rate > 1;
        if (rate == 0 && push_motion(stage, node, i, from_ns, error)) {
            return -1;
        }
        if (rate == 0 || (play->slow_only && rate > 1)) {
            continue;
        }
        int64_t period_ps = PS_PER_S / rate;
        if (!three) {
            world_sampler_read(stage->samplers[node], i, from_ns, period_ps, counts[3], rate);
        } else if (i == 0) {
            for (uint16_t a = 0; a < 3; a++) {
                world_sampler_read(stage->samplers[node], a, from_ns, period_ps, counts[a], rate);
            }
            turn_counts(stage->turns[node], counts, rate);
        }
        if (play->faulty && channel[i].quantity == QUANTITY_ELECTRIC) {
            spoil(stage->run, node, second, counts[3], rate);
        }
        struct block block = {.channel = i,
                              .count = rate,
                              .t0_ns = from_ns,
                              .period_ps = period_ps,
                              .counts = three ? counts[i] : counts[3]};
        if (pipeline_push(stage->pipeline, node, &block, error)) {
            return -1;
        }
    }
    return pipeline_advance(stage->pipeline, node, from_ns + NS_PER_S, error);
}

static struct mark mark_of(const struct run *run, size_t event)
{
    struct mark mark = {.id = (int64_t)event + 1, .text = "we did it"};
    mark.start_ns = llround((run->at_s[event] - 1.0) * 1e9);
    mark.end_ns = mark.start_ns + 12 * NS_PER_S;
    mark.noted_ns = mark.start_ns;
    return mark;
}

static void keep(const struct run *run, bool ended, const struct disturbance *disturbance)
{
    if (run->keep) {
        fwrite(&ended, sizeof ended, 1, run->keep);
        fwrite(disturbance, sizeof *disturbance, 1, run->keep);
    }
}

static void on_open(void *context, const struct disturbance *disturbance)
{
    keep(context, false, disturbance);
}

static void on_end(void *context, const struct disturbance *disturbance)
{
    keep(context, true, disturbance);
}

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    struct run *run = context;
    run->coincidence(run->context, coincidence);
}

static int set_up(struct stage *stage, const struct script *script, struct error *error)
{
    const struct site *site = stage->run->house->site;
    struct finding_sink sink = {.context = stage->run,
                                .disturbance = on_open,
                                .disturbance_ended = on_end,
                                .coincidence = on_coincidence};
    if (world_new(site, script, &stage->world, error) ||
        pipeline_new(site, &sink, &stage->pipeline, error)) {
        return -1;
    }
    for (uint32_t node = 0; node < site->node_count; node++) {
        draw_turn(rng_key(stage->run->house->seed, 13, node), stage->turns[node]);
        if (world_sampler_new(stage->world, node, &stage->samplers[node], error)) {
            return -1;
        }
        size_t count;
        const struct channel *channels = world_sampler_channels(stage->samplers[node], &count);
        if (pipeline_set_channels(stage->pipeline, node, channels, count, error)) {
            return -1;
        }
        pipeline_set_clock(stage->pipeline, node, 0,
                           llround(site->nodes[node].clock_error_s * 1e9));
    }
    return 0;
}

static int play_on(struct stage *stage, struct error *error)
{
    const struct run *run = stage->run;
    size_t told = 0;
    for (int64_t second = 0; second < (int64_t)length_s(run); second++) {
        while (run->play->marked && told < run->events && run->at_s[told] - 1.0 < (double)second) {
            struct mark mark = mark_of(run, told++);
            if (pipeline_mark(stage->pipeline, &mark, error)) {
                return -1;
            }
        }
        for (uint32_t node = 0; node < run->house->site->node_count; node++) {
            if (push_second(stage, node, second, error)) {
                return -1;
            }
        }
    }
    return pipeline_finish(stage->pipeline, error);
}

int run_simulate(struct run *run, struct error *error)
{
    struct stage stage = {.run = run};
    struct text text = {0};
    struct script *script = NULL;
    int status = write_script(run, &text) ? error_set(error, ERROR_MEMORY, "out of memory")
                                          : script_parse(text.bytes, text.length, run->play->name,
                                                         run->house->site, &script, error);
    status = status ? status : set_up(&stage, script, error);
    status = status ? status : play_on(&stage, error);
    pipeline_free(stage.pipeline);
    for (size_t node = 0; node < NODES_MAX; node++) {
        world_sampler_free(stage.samplers[node]);
    }
    world_free(stage.world);
    script_free(script);
    text_free(&text);
    return status;
}

static void forget(void *context, const struct disturbance *disturbance)
{
    (void)context;
    (void)disturbance;
}

/* As the pipeline would: watched from the end of the quiet spell. */
static int watch_all(const struct run *run, struct correlator *correlator, struct error *error)
{
    static const char *const quantities[] = {"magnetic", "electric", "temperature", "motion"};
    for (uint32_t node = 0; node < run->house->site->node_count; node++) {
        for (size_t i = 0; i < 4; i++) {
            if (correlator_watch(correlator, node, quantities[i], llround(BENCH_BASELINE_S * 1e9),
                                 error)) {
                return -1;
            }
        }
    }
    for (size_t i = 0; run->play->marked && i < run->events; i++) {
        struct mark mark = mark_of(run, i);
        if (correlator_mark(correlator, &mark, error)) {
            return -1;
        }
    }
    return 0;
}

int run_again(struct run *run, FILE *kept, struct error *error)
{
    struct correlator_sink sink = {.context = run,
                                   .disturbance = forget,
                                   .disturbance_ended = forget,
                                   .coincidence = on_coincidence};
    struct correlator *correlator = NULL;
    if (correlator_new(run->house->site, &sink, &correlator, error)) {
        return -1;
    }
    struct disturbance disturbance;
    bool ended;
    int status = watch_all(run, correlator, error);
    while (status == 0 && fread(&ended, sizeof ended, 1, kept) == 1 &&
           fread(&disturbance, sizeof disturbance, 1, kept) == 1) {
        disturbance.id = 0;
        if (ended) {
            correlator_close(correlator, &disturbance);
        } else {
            status = correlator_open(correlator, &disturbance, error);
        }
    }
    status = status ? status : correlator_finish(correlator, error);
    correlator_free(correlator);
    return status;
}
