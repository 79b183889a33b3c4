/* Seeded events of every ordinary cause and of none through the simulated house, the real detectors
 * and the correlator: how often each verdict is right. bench_causes SITE [KIND [-v]].
 * Must never run as part of the tests: it takes minutes. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/pipeline/pipeline.h"
#include "common/clock.h"
#include "common/text.h"
#include "node/world/rng.h"
#include "node/world/world.h"

#define EVENTS 56
#define SPACING_S 190.0
#define FIRST_S 140.0
#define LENGTH_S (FIRST_S + EVENTS * SPACING_S)
#define HITS_MAX 4096

struct play {
    const char *name;
    enum cause_kind cause;
    double after_s; /* how long after an event's time what it brings may begin */
    /* One event at `at` seconds, as JSON. */
    void (*write)(struct text *out, double at, uint64_t key);
    const char *settings; /* of the script, beside the usual ones; may be NULL */
};

static const char *const lanes[][3] = {
    {"hall", "passage", "kitchen"},  {"kitchen", "passage", "hall"},
    {"parlour", "passage", "hall"},  {"hall", "passage", "parlour"},
    {"store", "kitchen", "passage"}, {"parlour", "passage", "kitchen"}};

static double between(uint64_t key, uint64_t which, double low, double high)
{
    return low + (high - low) * rng_uniform(key, which);
}

static void put_lane(struct text *out, uint64_t key)
{
    const char *const *lane = lanes[rng_bits(key, 90) % 6];
    (void)text_append_format(out, ",\"from\":\"%s\",\"via\":[\"%s\",\"%s\"]", lane[0], lane[1],
                             lane[2]);
}

static void write_load(struct text *out, double at, uint64_t key)
{
    static const char *const wires[] = {"kitchen-ring", "supply"};
    (void)text_append_format(
        out, "{\"at_s\":%.3f,\"kind\":\"load\",\"wire\":\"%s\",\"amps\":%.2f,\"for_s\":%.2f}", at,
        wires[rng_bits(key, 0) % 2], between(key, 1, 4.0, 13.0), between(key, 2, 20.0, 60.0));
}

static void write_walk(struct text *out, double at, uint64_t key)
{
    (void)text_append_format(out, "{\"at_s\":%.3f,\"kind\":\"walk\",\"who\":\"walker\"", at);
    put_lane(out, key);
    (void)text_append_format(out, ",\"speed_m_s\":%.2f,\"steel\":%s}", between(key, 1, 0.8, 1.6),
                             rng_bits(key, 2) % 2 ? "true" : "false");
}

static void write_magnet(struct text *out, double at, uint64_t key)
{
    (void)text_append_format(out, "{\"at_s\":%.3f,\"kind\":\"magnet\"", at);
    put_lane(out, key);
    (void)text_append_format(out, ",\"speed_m_s\":%.2f,\"moment_a_m2\":[%.1f,%.1f,%.1f]}",
                             between(key, 1, 0.4, 1.4), between(key, 2, -15.0, 15.0),
                             between(key, 3, -15.0, 15.0), between(key, 4, 10.0, 30.0));
}

static void write_phone(struct text *out, double at, uint64_t key)
{
    static const char *const rooms[] = {"hall", "passage", "parlour", "kitchen"};
    (void)text_append_format(
        out, "{\"at_s\":%.3f,\"kind\":\"phone\",\"room\":\"%s\",\"for_s\":%.2f,\"counts\":%.0f}",
        at, rooms[rng_bits(key, 0) % 4], between(key, 1, 3.0, 20.0), between(key, 2, 250.0, 600.0));
}

static void write_draught(struct text *out, double at, uint64_t key)
{
    (void)text_append_format(out, "{\"at_s\":%.3f,\"kind\":\"draught\"", at);
    put_lane(out, key);
    (void)text_append_format(out, ",\"speed_m_s\":%.2f,\"drop_c\":%.2f,\"for_s\":%.0f}",
                             between(key, 1, 0.15, 0.45), between(key, 2, 1.2, 3.0),
                             between(key, 3, 40.0, 70.0));
}

static void write_geomagnetic(struct text *out, double at, uint64_t key)
{
    (void)text_append_format(
        out, "{\"at_s\":%.3f,\"kind\":\"geomagnetic\",\"field_t\":[%.3g,%.3g,%.3g],\"for_s\":%.0f}",
        at, between(key, 1, 5e-8, 2e-7), between(key, 2, -1e-7, 1e-7), between(key, 3, 5e-8, 2e-7),
        between(key, 4, 60.0, 110.0));
}

/* What no cause explains: a dipole that comes and goes on one spot, or an even field, with or
 * without something on the antennas. */
static void write_pulse(struct text *out, double at, uint64_t key)
{
    (void)text_append_format(out, "{\"at_s\":%.3f,\"kind\":\"pulse\",\"at_m\":[%.1f,%.1f,1]", at,
                             between(key, 1, 3.0, 11.0), between(key, 2, 2.0, 5.0));
    if (rng_bits(key, 3) % 2) {
        (void)text_append_format(out, ",\"moment_a_m2\":[%.0f,%.0f,%.0f]",
                                 between(key, 4, -150.0, 150.0), between(key, 5, -150.0, 150.0),
                                 between(key, 6, 80.0, 250.0));
    } else {
        (void)text_append_format(out, ",\"field_t\":[%.2g,0,%.2g],\"reach_m\":%.0f",
                                 between(key, 4, 2e-7, 9e-7), between(key, 5, 2e-7, 9e-7),
                                 between(key, 6, 6.0, 12.0));
    }
    (void)text_append_format(
        out, ",\"counts\":%.0f,\"rise_s\":%.2f,\"for_s\":%.2f,\"fall_s\":%.2f}",
        rng_bits(key, 7) % 2 ? between(key, 8, 30.0, 80.0) : 0.0, between(key, 9, 0.01, 0.05),
        between(key, 10, 0.2, 3.0), between(key, 11, 0.1, 0.6));
}

static const struct play plays[] = {
    {"load", CAUSE_MAINS_SWITCHING, 62.0, write_load, NULL},
    {"walk", CAUSE_PERSON_WALKING, 40.0, write_walk, NULL},
    {"magnet", CAUSE_MOVING_MAGNET, 40.0, write_magnet, NULL},
    {"phone", CAUSE_RADIO_BURST, 20.0, write_phone, NULL},
    {"draught", CAUSE_DRAUGHT, 120.0, write_draught, NULL},
    {"geomagnetic", CAUSE_GEOMAGNETIC, 110.0, write_geomagnetic, NULL},
    {"pulse", CAUSE_UNEXPLAINED, 5.0, write_pulse, NULL},
};

struct bench {
    const struct play *play;
    const struct site *site;
    bool verbose;
    double at_s[EVENTS];
    bool seen[EVENTS];
    bool named[EVENTS];
    size_t verdicts[CAUSE_COUNT];
    size_t stray;
};

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    struct bench *bench = context;
    double start_s = (double)coincidence->start_ns * 1e-9;
    if (!coincidence->final) {
        return;
    }
    size_t event = EVENTS;
    for (size_t i = 0; i < EVENTS; i++) {
        if (start_s > bench->at_s[i] - 2.0 && start_s < bench->at_s[i] + bench->play->after_s) {
            event = i;
        }
    }
    if (event == EVENTS) {
        bench->stray++;
    } else {
        bench->seen[event] = true;
        bench->named[event] |= coincidence->verdict.cause == bench->play->cause;
        bench->verdicts[coincidence->verdict.cause]++;
    }
    if (bench->verbose) {
        printf("%8.2f %+7.2f %s %s nodes %zu members %zu\n", start_s,
               event < EVENTS ? start_s - bench->at_s[event] : 0.0,
               coincidence_kind_text(coincidence->kind), cause_text(coincidence->verdict.cause),
               coincidence->node_count, coincidence->member_count);
        for (size_t i = 0; i < coincidence->member_count; i++) {
            const struct disturbance *member = &coincidence->members[i];
            printf("    %-9s %-11s %s at %+.3f sd %.3f peak %.3g after %.3f lasts %.2f score %.3g"
                   " settle %.3g step %.3g scale %.3g mains %.3g>%.3g%s%s%s\n",
                   bench->site->nodes[member->node].id, member->quantity_text,
                   member->band == BAND_MAINS ? "mains" : "rest ",
                   (double)member->onset_ns * 1e-9 - start_s,
                   (double)disturbance_onset_sd_ns(member) * 1e-9, member->peak_value,
                   (double)(member->peak_ns - member->onset_ns) * 1e-9,
                   member->end_ns ? (double)(member->end_ns - member->onset_ns) * 1e-9 : -1.0,
                   member->peak_score, member->settle_peak_score, member->settle_step,
                   member->baseline_scale, member->mains_before, member->mains_after,
                   member->one_sample ? " one" : "", member->clipped ? " clipped" : "",
                   member->returned ? "" : " cut");
        }
        if (coincidence->source.known) {
            printf("      from (%.2f, %.2f) m, sd %.2f m\n", coincidence->source.x_m,
                   coincidence->source.y_m, coincidence->source.sd_m);
        }
        for (size_t i = 0; i < coincidence->verdict.reason_count; i++) {
            printf("      %s\n", coincidence->verdict.reasons[i]);
        }
    }
}

static int write_script(struct bench *bench, struct text *out)
{
    (void)text_append_format(
        out,
        "{\"version\":1,\"seed\":77,\"length_s\":%.0f,"
        "\"mains\":{\"wander_hz\":0.015,\"wobble\":0.005,\"pickup_counts\":40},"
        "\"motion\":{\"range_m\":5,\"hold_s\":2.5,\"blind_s\":2.5,\"latency_s\":0.15,"
        "\"false_per_hour\":0.3},"
        "\"wires\":[{\"id\":\"supply\",\"through_m\":[9,1.2,0.3],\"along\":[0,0,1],"
        "\"standing_amps\":0.6},{\"id\":\"kitchen-ring\",\"through_m\":[10,0.2,0.3],"
        "\"along\":[1,0,0],\"fed_by\":\"supply\"}],%s\"events\":[",
        LENGTH_S, bench->play->settings ? bench->play->settings : "");
    for (size_t i = 0; i < EVENTS; i++) {
        uint64_t key = rng_key(5, i, (uint64_t)bench->play->cause);
        bench->at_s[i] = FIRST_S + SPACING_S * (double)i + between(key, 99, 0.0, 70.0);
        (void)text_append_format(out, i ? "," : "");
        bench->play->write(out, bench->at_s[i], key);
    }
    (void)text_append_format(out, "]}");
    return out->failed ? -1 : 0;
}

static int push_motion(struct pipeline *pipeline, struct world_sampler *sampler, uint32_t node,
                       uint16_t channel, int64_t from_ns, int64_t until_ns, struct error *error)
{
    struct world_change changes[64];
    int64_t times[65];
    int32_t counts[65];
    uint32_t count = 0;
    if (from_ns == 0) {
        times[count] = 0;
        counts[count++] = 0;
    }
    size_t more = world_sampler_changes(sampler, from_ns - 1, until_ns - 1, changes, 64);
    for (size_t i = 0; i < more; i++) {
        times[count] = changes[i].time_ns;
        counts[count++] = changes[i].count;
    }
    struct block block = {.channel = channel,
                          .count = count,
                          .t0_ns = count ? times[0] : 0,
                          .times_ns = times,
                          .counts = counts};
    return count ? pipeline_push(pipeline, node, &block, error) : 0;
}

static int push_second(struct pipeline *pipeline, struct world_sampler *sampler, uint32_t node,
                       int64_t second, struct error *error)
{
    static int32_t counts[1024];
    size_t channels;
    const struct channel *channel = world_sampler_channels(sampler, &channels);
    int64_t from_ns = second * NS_PER_S;
    for (uint16_t i = 0; i < channels; i++) {
        uint32_t rate = (uint32_t)(channel[i].rate_hz + 0.5);
        struct block block = {.channel = i,
                              .count = rate,
                              .t0_ns = from_ns,
                              .period_ps = rate ? PS_PER_S / rate : 0,
                              .counts = counts};
        if (rate == 0) {
            if (push_motion(pipeline, sampler, node, i, from_ns, from_ns + NS_PER_S, error)) {
                return -1;
            }
            continue;
        }
        world_sampler_read(sampler, i, from_ns, block.period_ps, counts, rate);
        if (pipeline_push(pipeline, node, &block, error)) {
            return -1;
        }
    }
    return pipeline_advance(pipeline, node, from_ns + NS_PER_S, error);
}

static int run_world(struct bench *bench, const struct script *script, struct error *error)
{
    struct world *world = NULL;
    struct world_sampler *samplers[16] = {0};
    struct pipeline *pipeline = NULL;
    struct finding_sink sink = {.context = bench, .coincidence = on_coincidence};
    size_t nodes = bench->site->node_count < 16 ? bench->site->node_count : 16;
    int status = world_new(bench->site, script, &world, error);
    status = status ? status : pipeline_new(bench->site, &sink, &pipeline, error);
    for (uint32_t node = 0; node < nodes && status == 0; node++) {
        status = world_sampler_new(world, node, &samplers[node], error);
        if (status == 0) {
            size_t count;
            const struct channel *channels = world_sampler_channels(samplers[node], &count);
            status = pipeline_set_channels(pipeline, node, channels, count, error);
        }
    }
    for (int64_t second = 0; second < (int64_t)LENGTH_S && status == 0; second++) {
        for (uint32_t node = 0; node < nodes && status == 0; node++) {
            status = push_second(pipeline, samplers[node], node, second, error);
        }
    }
    status = status ? status : pipeline_finish(pipeline, error);
    pipeline_free(pipeline);
    for (size_t node = 0; node < nodes; node++) {
        world_sampler_free(samplers[node]);
    }
    world_free(world);
    return status;
}

static void print_line(const struct bench *bench)
{
    size_t seen = 0;
    size_t named = 0;
    for (size_t i = 0; i < EVENTS; i++) {
        seen += bench->seen[i];
        named += bench->named[i];
    }
    printf("%-12s %3d events, %3zu seen, %3zu named %s; all its coincidences:", bench->play->name,
           EVENTS, seen, named, cause_text(bench->play->cause));
    for (int cause = 0; cause < CAUSE_COUNT; cause++) {
        if (bench->verdicts[cause]) {
            printf(" %s %zu", cause_text((enum cause_kind)cause), bench->verdicts[cause]);
        }
    }
    printf("; %zu beside\n", bench->stray);
}

static int run_play(const struct play *play, const struct site *site, bool verbose)
{
    struct bench *bench = calloc(1, sizeof *bench);
    struct text text = {0};
    struct script *script = NULL;
    struct error error = {0};
    int status = -1;
    if (bench) {
        bench->play = play;
        bench->site = site;
        bench->verbose = verbose;
        if (write_script(bench, &text) == 0 &&
            script_parse(text.bytes, text.length, play->name, site, &script, &error) == 0) {
            status = run_world(bench, script, &error);
        }
        if (status == 0) {
            print_line(bench);
        } else {
            fprintf(stderr, "bench_causes: %s\n", error.text);
        }
    }
    script_free(script);
    text_free(&text);
    free(bench);
    return status;
}

int main(int argc, char **argv)
{
    struct site *site = NULL;
    struct error error;
    if (argc < 2 || site_load(argv[1], &site, NULL, &error)) {
        fprintf(stderr, "bench_causes SITE [KIND [-v]]: %s\n", argc < 2 ? "no site" : error.text);
        return 2;
    }
    site->baseline_s = 120.0;
    int status = 0;
    for (size_t i = 0; i < sizeof plays / sizeof plays[0]; i++) {
        if (argc < 3 || strcmp(argv[2], plays[i].name) == 0) {
            status |= run_play(&plays[i], site, argc > 3);
        }
    }
    site_free(site);
    return status ? 1 : 0;
}
