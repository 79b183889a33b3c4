/* Seeded nights in a simulated house where one person walks and tries a coil, marked in one of
 * three ways or not; at the end a field pulse that nobody made. From the physics to the alert
 * policy. Must never read a clock. Used by bench_marks.c and by a check. */
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
#define MARKS_COILS 3
#define MARKS_COIL_S 60.0 /* after the walk before it may begin: that is over by then */
#define MARKS_ACTS (MARKS_WALKS + MARKS_COILS)
#define MARKS_STRANGER_S 476.0 /* the latest mark is typed before that */
#define MARKS_LENGTH_S 500
#define MARKS_IDS 512

/* Marked as it begins with a length; as it begins until ended; or only long after, with its time;
 * or nobody was there to do anything. */
enum marks_way { MARKS_NONE, MARKS_FOR, MARKS_RUNNING, MARKS_LATE, MARKS_WAYS, MARKS_NOBODY };

/* What the team does. A coil's field is nothing that a cause would name. */
struct marks_act {
    bool coil;
    double at_s;
    double lasts_s;
};

/* Of walks, or of coils. */
struct marks_tally {
    size_t seen;   /* with a finding of two nodes or more */
    size_t called; /* of them those whose greatest is called person-walking */
    size_t alerts; /* that stand in the end */
};

struct marks_night {
    uint64_t seed;
    enum marks_way way;
    struct site *site;
    struct marks_act acts[MARKS_ACTS]; /* in order of time */
    struct alert_policy policy;
    /* By coincidence as last told. */
    bool alert[MARKS_IDS];
    bool walking[MARKS_IDS];
    int64_t start_ns[MARKS_IDS];
    size_t nodes[MARKS_IDS];
    int64_t mark[MARKS_IDS];
    double chance[MARKS_IDS];
    int64_t ids;
    /* The outcome. */
    struct marks_tally walks;
    struct marks_tally coils;
    bool stranger_alert;    /* what nobody made */
    double stranger_chance; /* so many like it a night; 0: it was not found */
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
static inline void marks_write_walk(struct marks_night *night, size_t i, struct text *text)
{
    static const char *const ways[] = {
        "\"from\":\"hall\",\"via\":[\"passage\",\"kitchen\"]",
        "\"from\":\"kitchen\",\"via\":[\"passage\",\"hall\"]",
        "\"from\":\"hall\",\"via\":[\"passage\",\"kitchen\",\"store\"]",
        "\"from\":\"store\",\"via\":[\"kitchen\",\"passage\"]",
    };
    uint64_t key = 100 + 10 * i;
    double speed = marks_between(night->seed, key, 0.8, 1.7);
    struct marks_act *act = &night->acts[2 * i];
    act->at_s =
        MARKS_FIRST_S + MARKS_EVERY_S * (double)i + marks_between(night->seed, key + 1, 0.0, 20.0);
    act->lasts_s = 20.0 / speed;
    if (night->way != MARKS_NOBODY) {
        (void)text_append_format(
            text, "{\"at_s\":%.3f,\"kind\":\"walk\",%s,\"speed_m_s\":%.2f,\"steel\":%s},",
            act->at_s, ways[rng_bits(rng_key(night->seed, 5, i), 0) % 4], speed,
            rng_bits(rng_key(night->seed, 6, i), 0) % 2 ? "true" : "false");
    }
}

/* A field pulse somewhere about the middle of the house: a coil of the team's, or nobody's. */
static inline void marks_write_pulse(const struct marks_night *night, uint64_t which, double at_s,
                                     struct text *text)
{
    (void)text_append_format(
        text,
        "{\"at_s\":%.3f,\"kind\":\"pulse\",\"at_m\":[%.2f,2,1],\"moment_a_m2\":[%.0f,%.0f,%.0f],"
        "\"rise_s\":0.02,\"for_s\":0.25,\"fall_s\":0.4}",
        at_s, marks_between(night->seed, which, 7.0, 13.0),
        marks_between(night->seed, which + 1, -200.0, 200.0),
        marks_between(night->seed, which + 2, -200.0, 200.0),
        marks_between(night->seed, which + 3, 380.0, 480.0));
}

static inline void marks_write_coil(struct marks_night *night, size_t i, struct text *text)
{
    struct marks_act *act = &night->acts[2 * i + 1];
    act->coil = true;
    act->at_s = MARKS_FIRST_S + MARKS_EVERY_S * (double)i + MARKS_COIL_S +
                marks_between(night->seed, 300 + 10 * i, 0.0, 3.0);
    act->lasts_s = 0.7;
    if (night->way != MARKS_NOBODY) {
        marks_write_pulse(night, 301 + 10 * i, act->at_s, text);
        (void)text_append_format(text, ",");
    }
}

static inline int marks_build_script(struct marks_night *night, struct script **script,
                                     struct error *error)
{
    struct text text = {0};
    (void)text_append_format(
        &text,
        "{\"version\":1,\"seed\":%llu,\"length_s\":%d,\"wires\":[{\"id\":\"supply\","
        "\"through_m\":[9,0.3,0.3],\"along\":[0,0,1],\"standing_amps\":0.4}],\"events\":[",
        (unsigned long long)(rng_bits(rng_key(night->seed, 3, 0), 0) >> 20), MARKS_LENGTH_S + 10);
    for (size_t i = 0; i < MARKS_WALKS; i++) {
        marks_write_walk(night, i, &text);
        if (i < MARKS_COILS) {
            marks_write_coil(night, i, &text);
        }
    }
    marks_write_pulse(night, 400, MARKS_STRANGER_S, &text);
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
        night->chance[coincidence.id] = coincidence.chance.per_night;
        night->ids = coincidence.id > night->ids ? coincidence.id : night->ids;
    }
}

static inline void marks_on_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)context;
    (void)disturbance;
}

/* The row of act `i` that is noted at `second`; false where there is none then. */
static inline bool marks_row(const struct marks_night *night, size_t i, double second,
                             struct mark *mark)
{
    double begin_s = night->acts[i].at_s - 1.0;
    double end_s = night->acts[i].at_s + night->acts[i].lasts_s + 4.0;
    bool running = night->way == MARKS_RUNNING;
    bool begins = night->way == MARKS_LATE ? fabs(second - floor(end_s + 60.0)) < 0.5
                                           : fabs(second - floor(begin_s)) < 0.5;
    bool ends = running && fabs(second - ceil(end_s)) < 0.5;
    if (night->way == MARKS_NONE || night->way == MARKS_NOBODY || !(begins || ends)) {
        return false;
    }
    int64_t number = (int64_t)(2 * i) + 1;
    *mark = (struct mark){.id = number + (ends ? 1 : 0),
                          .corrects = ends ? number : 0,
                          .start_ns = llround(begin_s * 1e9),
                          .end_ns = running && !ends ? MARK_RUNNING_NS : llround(end_s * 1e9),
                          .noted_ns = llround(second * 1e9),
                          .text = "ours"};
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
        for (size_t i = 0; status == 0 && i < MARKS_ACTS; i++) {
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

static inline bool marks_between_s(int64_t time_ns, double from_s, double to_s)
{
    double at_s = (double)time_ns * 1e-9;
    return at_s > from_s && at_s < to_s;
}

static inline void marks_count_act(struct marks_night *night, const struct marks_act *act)
{
    struct marks_tally *tally = act->coil ? &night->coils : &night->walks;
    double before_s = act->coil ? 0.5 : 3.0;
    double after_s = act->coil ? 1.0 : 6.0;
    size_t most = 0;
    bool walking = false;
    for (int64_t id = 1; id <= night->ids; id++) {
        if (!marks_between_s(night->start_ns[id], act->at_s - before_s,
                             act->at_s + act->lasts_s + after_s)) {
            continue;
        }
        tally->alerts += night->alert[id];
        if (night->nodes[id] > most) {
            most = night->nodes[id];
            walking = night->walking[id];
        }
    }
    tally->seen += most >= 2;
    tally->called += most >= 2 && walking;
}

static inline void marks_count(struct marks_night *night)
{
    for (size_t i = 0; night->way != MARKS_NOBODY && i < MARKS_ACTS; i++) {
        marks_count_act(night, &night->acts[i]);
    }
    for (int64_t id = 1; id <= night->ids; id++) {
        if (night->nodes[id] >= 2 &&
            marks_between_s(night->start_ns[id], MARKS_STRANGER_S - 0.5, MARKS_STRANGER_S + 1.0)) {
            night->stranger_alert |= night->alert[id];
            night->stranger_chance = night->chance[id];
        }
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
