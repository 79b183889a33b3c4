/* Seeded nights in a simulated house where one person walks, marked in one of three ways or not,
 * from the physics to the alert policy. Must never read a clock. Used by bench_marks.c and by a
 * check. */
#ifndef ROOMWAKE_TESTS_BENCH_MARKS_NIGHT_H
#define ROOMWAKE_TESTS_BENCH_MARKS_NIGHT_H

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/alert/policy.h"
#include "collector/pipeline/pipeline.h"
#include "common/clock.h"
#include "common/text.h"
#include "node/world/rng.h"
#include "node/world/world.h"

#define MARKS_RATE 50
#define MARKS_NODES 4
#define MARKS_WALKS 4
#define MARKS_QUIET_S 90
#define MARKS_FIRST_S 130.0
#define MARKS_EVERY_S 75.0
#define MARKS_LENGTH_S 440
#define MARKS_IDS 512

/* Marked as it begins with a length; as it begins until ended; or only long after, with its time.
 */
enum marks_way { MARKS_NONE, MARKS_FOR, MARKS_RUNNING, MARKS_LATE, MARKS_WAYS };

struct marks_night {
    uint64_t seed;
    enum marks_way way;
    struct site *site;
    double at_s[MARKS_WALKS];
    double lasts_s[MARKS_WALKS];
    struct alert_policy policy;
    /* By coincidence as last told. */
    bool alert[MARKS_IDS];
    bool walking[MARKS_IDS];
    bool final[MARKS_IDS];
    int64_t start_ns[MARKS_IDS];
    size_t nodes[MARKS_IDS];
    int64_t mark[MARKS_IDS];
    int64_t ids;
    /* The outcome. */
    size_t alerts_of_walks; /* that stand in the end */
    size_t alerts;
    size_t seen;   /* walks with a finding of two nodes or more */
    size_t called; /* of them those whose greatest is called person-walking */
};

static inline double marks_between(uint64_t seed, uint64_t which, double low, double high)
{
    return low + (high - low) * rng_uniform(rng_key(seed, 77, 0), which);
}

static inline int marks_build_site(struct marks_night *night, struct error *error)
{
    static const char *const rooms[MARKS_NODES] = {"hall", "passage", "kitchen", "store"};
    struct text text = {0};
    (void)text_append_format(
        &text, "{\"site\":\"lodge\",\"mains_hz\":50,\"baseline_s\":%d,\"rooms\":[", MARKS_QUIET_S);
    for (int i = 0; i < MARKS_NODES; i++) {
        (void)text_append_format(&text,
                                 "%s{\"id\":\"%s\",\"floor\":0,\"outline_m\":[[%d,0],[%d,0],"
                                 "[%d,4],[%d,4]]}",
                                 i ? "," : "", rooms[i], 5 * i, 5 * i + 5, 5 * i + 5, 5 * i);
    }
    (void)text_append_format(&text, "],\"doors\":[");
    for (int i = 0; i + 1 < MARKS_NODES; i++) {
        (void)text_append_format(&text, "%s{\"between\":[\"%s\",\"%s\"],\"at_m\":[%d,2]}",
                                 i ? "," : "", rooms[i], rooms[i + 1], 5 * i + 5);
    }
    (void)text_append_format(&text, "],\"nodes\":[");
    for (int i = 0; i < MARKS_NODES; i++) {
        (void)text_append_format(
            &text,
            "%s{\"id\":\"n%d\",\"room\":\"%s\",\"position_m\":[%.2f,%.2f,1],\"clock_error_s\":0."
            "001,"
            "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":%d},"
            "{\"name\":\"magnetic.y\",\"unit\":\"T\",\"rate_hz\":%d},"
            "{\"name\":\"magnetic.z\",\"unit\":\"T\",\"rate_hz\":%d},"
            "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]}",
            i ? "," : "", i + 1, rooms[i],
            5 * i + marks_between(night->seed, 10 + (uint64_t)i, 1, 4),
            marks_between(night->seed, 20 + (uint64_t)i, 0.8, 3.2), MARKS_RATE, MARKS_RATE,
            MARKS_RATE);
    }
    (void)text_append_format(&text, "]}");
    int status = site_parse(text.bytes, text.length, "site", &night->site, error);
    text_free(&text);
    return status;
}

/* Three rooms or four, either way, at a walker's speed, with or without steel about him. */
static inline int marks_build_script(struct marks_night *night, struct script **script,
                                     struct error *error)
{
    static const char *const ways[] = {
        "\"from\":\"hall\",\"via\":[\"passage\",\"kitchen\"]",
        "\"from\":\"kitchen\",\"via\":[\"passage\",\"hall\"]",
        "\"from\":\"hall\",\"via\":[\"passage\",\"kitchen\",\"store\"]",
        "\"from\":\"store\",\"via\":[\"kitchen\",\"passage\"]",
    };
    struct text text = {0};
    (void)text_append_format(
        &text,
        "{\"version\":1,\"seed\":%llu,\"length_s\":%d,\"wires\":[{\"id\":\"supply\","
        "\"through_m\":[9,0.3,0.3],\"along\":[0,0,1],\"standing_amps\":0.4}],\"events\":[",
        (unsigned long long)(rng_bits(rng_key(night->seed, 3, 0), 0) >> 20), MARKS_LENGTH_S + 10);
    for (size_t i = 0; i < MARKS_WALKS; i++) {
        uint64_t key = 100 + 10 * i;
        double speed = marks_between(night->seed, key, 0.8, 1.7);
        night->at_s[i] = MARKS_FIRST_S + MARKS_EVERY_S * (double)i +
                         marks_between(night->seed, key + 1, 0.0, 20.0);
        night->lasts_s[i] = 20.0 / speed;
        (void)text_append_format(
            &text, "%s{\"at_s\":%.3f,\"kind\":\"walk\",%s,\"speed_m_s\":%.2f,\"steel\":%s}",
            i ? "," : "", night->at_s[i], ways[rng_bits(rng_key(night->seed, 5, i), 0) % 4], speed,
            rng_bits(rng_key(night->seed, 6, i), 0) % 2 ? "true" : "false");
    }
    (void)text_append_format(&text, "]}");
    int status = script_parse(text.bytes, text.length, "script", night->site, script, error);
    text_free(&text);
    return status;
}

static inline void marks_on_coincidence(void *context, const struct coincidence *told)
{
    struct marks_night *night = context;
    struct coincidence coincidence = *told;
    (void)alert_policy_judge(&night->policy, &coincidence);
    if (coincidence.id < MARKS_IDS) {
        night->alert[coincidence.id] = coincidence.alert;
        night->walking[coincidence.id] = coincidence.verdict.cause == CAUSE_PERSON_WALKING;
        night->start_ns[coincidence.id] = coincidence.start_ns;
        night->nodes[coincidence.id] = coincidence.node_count;
        night->mark[coincidence.id] = coincidence.mark_id;
        night->final[coincidence.id] = coincidence.final;
        night->ids = coincidence.id > night->ids ? coincidence.id : night->ids;
    }
}

static inline void marks_on_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)context;
    (void)disturbance;
}

/* The row of walk `i` that is noted at `noted_s`; false where there is none then. */
static inline bool marks_row(const struct marks_night *night, size_t i, double second,
                             struct mark *mark)
{
    double begin_s = night->at_s[i] - 1.0;
    double end_s = night->at_s[i] + night->lasts_s[i] + 4.0;
    bool running = night->way == MARKS_RUNNING;
    bool begins = night->way == MARKS_LATE ? fabs(second - floor(end_s + 60.0)) < 0.5
                                           : fabs(second - floor(begin_s)) < 0.5;
    bool ends = running && fabs(second - ceil(end_s)) < 0.5;
    if (night->way == MARKS_NONE || !(begins || ends)) {
        return false;
    }
    int64_t number = (int64_t)(2 * i) + 1;
    *mark = (struct mark){.id = number + (ends ? 1 : 0),
                          .corrects = ends ? number : 0,
                          .start_ns = llround(begin_s * 1e9),
                          .end_ns = running && !ends ? MARK_RUNNING_NS : llround(end_s * 1e9),
                          .noted_ns = llround(second * 1e9),
                          .text = "walking"};
    return true;
}

static inline int marks_push_motion(struct pipeline *pipeline, struct world_sampler *sampler,
                                    uint32_t node, int64_t from_ns, struct error *error)
{
    struct world_change changes[64];
    int64_t times[65] = {0};
    int32_t counts[65] = {0};
    uint32_t count = from_ns == 0;
    size_t more = world_sampler_changes(sampler, from_ns - 1, from_ns + NS_PER_S - 1, changes, 64);
    for (size_t i = 0; i < more; i++) {
        times[count] = changes[i].time_ns;
        counts[count++] = changes[i].count;
    }
    struct block block = {
        .channel = 3, .count = count, .t0_ns = times[0], .times_ns = times, .counts = counts};
    return count ? pipeline_push(pipeline, node, &block, error) : 0;
}

static inline int marks_push_second(struct pipeline *pipeline, struct world_sampler *sampler,
                                    uint32_t node, int64_t second, struct error *error)
{
    int32_t counts[MARKS_RATE];
    int64_t from_ns = second * NS_PER_S;
    for (uint16_t axis = 0; axis < 3; axis++) {
        struct block block = {.channel = axis,
                              .count = MARKS_RATE,
                              .t0_ns = from_ns,
                              .period_ps = PS_PER_S / MARKS_RATE,
                              .counts = counts};
        world_sampler_read(sampler, axis, from_ns, block.period_ps, counts, MARKS_RATE);
        if (pipeline_push(pipeline, node, &block, error)) {
            return -1;
        }
    }
    return marks_push_motion(pipeline, sampler, node, from_ns, error)
               ? -1
               : pipeline_advance(pipeline, node, from_ns + NS_PER_S, error);
}

static inline int marks_play(struct marks_night *night, struct world *world,
                             struct pipeline *pipeline, struct error *error)
{
    struct world_sampler *samplers[MARKS_NODES] = {NULL};
    int status = 0;
    for (uint32_t node = 0; status == 0 && node < MARKS_NODES; node++) {
        size_t count = 0;
        status = world_sampler_new(world, node, &samplers[node], error);
        status = status ? status
                        : pipeline_set_channels(pipeline, node,
                                                world_sampler_channels(samplers[node], &count), 4,
                                                error);
        pipeline_set_clock(pipeline, node, 0, NS_PER_S / 1000);
    }
    for (int64_t second = 0; status == 0 && second < MARKS_LENGTH_S; second++) {
        for (size_t i = 0; status == 0 && i < MARKS_WALKS; i++) {
            struct mark mark;
            if (marks_row(night, i, (double)second, &mark)) {
                status = pipeline_mark(pipeline, &mark, error);
            }
        }
        for (uint32_t node = 0; status == 0 && node < MARKS_NODES; node++) {
            status = marks_push_second(pipeline, samplers[node], node, second, error);
        }
    }
    status = status ? status : pipeline_finish(pipeline, error);
    for (size_t node = 0; node < MARKS_NODES; node++) {
        world_sampler_free(samplers[node]);
    }
    return status;
}

static inline bool marks_of_walk(const struct marks_night *night, size_t i, int64_t time_ns)
{
    double at_s = (double)time_ns * 1e-9;
    return at_s > night->at_s[i] - 3.0 && at_s < night->at_s[i] + night->lasts_s[i] + 6.0;
}

static inline void marks_count(struct marks_night *night)
{
    for (size_t i = 0; i < MARKS_WALKS; i++) {
        size_t most = 0;
        bool walking = false;
        for (int64_t id = 1; id <= night->ids; id++) {
            if (!marks_of_walk(night, i, night->start_ns[id])) {
                continue;
            }
            night->alerts_of_walks += night->alert[id];
            if (night->nodes[id] > most) {
                most = night->nodes[id];
                walking = night->walking[id];
            }
        }
        night->seen += most >= 2;
        night->called += most >= 2 && walking;
    }
    for (int64_t id = 1; id <= night->ids; id++) {
        night->alerts += night->alert[id];
    }
}

/* The night of this seed, marked this way. */
static inline int marks_run(struct marks_night *night, uint64_t seed, enum marks_way way,
                            struct error *error)
{
    struct script *script = NULL;
    struct world *world = NULL;
    struct pipeline *pipeline = NULL;
    const struct finding_sink sink = {.context = night,
                                      .disturbance = marks_on_disturbance,
                                      .disturbance_ended = marks_on_disturbance,
                                      .coincidence = marks_on_coincidence};
    memset(night, 0, sizeof *night);
    night->seed = seed;
    night->way = way;
    int status = marks_build_site(night, error) || marks_build_script(night, &script, error) ||
                 world_new(night->site, script, &world, error) ||
                 pipeline_new(night->site, &sink, &pipeline, error);
    if (status == 0) {
        alert_policy_init(&night->policy, night->site->alert_limit_per_night);
        status = marks_play(night, world, pipeline, error);
        marks_count(night);
    }
    pipeline_free(pipeline);
    world_free(world);
    script_free(script);
    site_free(night->site);
    night->site = NULL;
    return status ? -1 : 0;
}

#endif
