/* Quiet nights in full samples: a simulated house of six nodes in which only appliances cycle, the
 * rooms warm and cool, and motion sensors fire falsely now and then. Counts what is told all the
 * same: false onsets beside the rate asked for, and alerts.
 * bench_quiet [FIRST [NIGHTS [HOURS [-v]]]]: seeds FIRST, FIRST + 1 ...; 1, 20 and 8 where not
 * told. Must never run as part of the tests: it takes minutes. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "collector/alert/policy.h"
#include "collector/pipeline/pipeline.h"
#include "common/clock.h"
#include "common/text.h"
#include "node/world/rng.h"
#include "node/world/world.h"

#define NODES 6u
#define BASELINE_S 600.0
#define SWITCHES_MAX 4096u
/* An onset this near to a switching is its effect. */
#define BEFORE_S 1.0
#define AFTER_S 2.0

static const unsigned field_rate_hz[NODES] = {50, 64, 75, 80, 90, 100};

enum kind { KIND_MAGNETIC, KIND_ELECTRIC, KIND_TEMPERATURE, KIND_MOTION, KINDS };
static const char *const kind_names[KINDS] = {"magnetic", "electric", "temperature", "motion"};

struct bench {
    struct site *site;
    double hours;
    bool verbose;
    struct alert_policy policy;
    double switches_s[SWITCHES_MAX];
    size_t switch_count;
    /* of all nights so far, by node and kind and band */
    size_t false_onsets[NODES][KINDS][2];
    size_t switching_onsets;
    size_t onsets;
    size_t coincidences;
    size_t alerts;
    double watched_h; /* of one node: nights less their quiet spells */
};

static int write_site(struct text *out)
{
    static const char *const places[NODES] = {"2,3.3,1.1",  "6.5,2.2,1.2", "5.5,6.4,0.9",
                                              "11.6,3.8,1", "11,1.2,-1.5", "15,2.5,1"};
    static const char *const rooms[NODES] = {"hall",    "passage", "parlour",
                                             "kitchen", "cellar",  "store"};
    (void)text_append_format(
        out,
        "{\"site\":\"quiet\",\"title\":\"Quiet\",\"mains_hz\":50,\"baseline_s\":%.0f,\"rooms\":["
        "{\"id\":\"hall\",\"title\":\"Hall\",\"floor\":0,\"outline_m\":[[0,0],[4,0],[4,5],[0,5]]},"
        "{\"id\":\"passage\",\"title\":\"Passage\",\"floor\":0,"
        "\"outline_m\":[[4,2],[9,2],[9,3.5],[4,3.5]]},"
        "{\"id\":\"parlour\",\"title\":\"Parlour\",\"floor\":0,"
        "\"outline_m\":[[4,3.5],[9,3.5],[9,8],[4,8]]},"
        "{\"id\":\"kitchen\",\"title\":\"Kitchen\",\"floor\":0,"
        "\"outline_m\":[[9,0],[13,0],[13,5],[9,5]]},"
        "{\"id\":\"cellar\",\"title\":\"Cellar\",\"floor\":-1,"
        "\"outline_m\":[[9,0],[13,0],[13,5],[9,5]]},"
        "{\"id\":\"store\",\"title\":\"Store\",\"floor\":0,"
        "\"outline_m\":[[13,0],[16.5,0],[16.5,4],[13,4]]}],\"doors\":["
        "{\"between\":[\"hall\",\"passage\"],\"at_m\":[4,2.75]},"
        "{\"between\":[\"passage\",\"parlour\"],\"at_m\":[6.5,3.5]},"
        "{\"between\":[\"passage\",\"kitchen\"],\"at_m\":[9,2.75]},"
        "{\"between\":[\"kitchen\",\"cellar\"],\"at_m\":[12.5,4.5]},"
        "{\"between\":[\"kitchen\",\"store\"],\"at_m\":[13,2]}],\"nodes\":[",
        BASELINE_S);
    for (size_t i = 0; i < NODES; i++) {
        unsigned rate = field_rate_hz[i];
        (void)text_append_format(
            out,
            "%s{\"id\":\"n%zu\",\"room\":\"%s\",\"position_m\":[%s],\"control\":%s,"
            "\"clock_error_s\":0.002,\"channels\":["
            "{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":%u},"
            "{\"name\":\"magnetic.y\",\"unit\":\"T\",\"rate_hz\":%u},"
            "{\"name\":\"magnetic.z\",\"unit\":\"T\",\"rate_hz\":%u},"
            "{\"name\":\"electric\",\"unit\":\"count\",\"rate_hz\":%u},"
            "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1},"
            "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]}",
            i ? "," : "", i, rooms[i], places[i], i == NODES - 1 ? "true" : "false", rate, rate,
            rate, rate);
    }
    (void)text_append_format(out, "]}");
    return out->failed ? -1 : 0;
}

static double between(uint64_t key, uint64_t which, double low, double high)
{
    return low + (high - low) * rng_uniform(key, which);
}

/* One appliance on and off through the night. */
static void write_appliance(struct bench *bench, struct text *out, const char *wire, double amps,
                            double on_s, double off_s, uint64_t key)
{
    double length_s = bench->hours * 3600.0;
    double at_s = between(key, 0, 0.0, off_s);
    for (uint64_t k = 1; at_s < length_s && bench->switch_count + 2 < SWITCHES_MAX; k += 2) {
        double for_s = on_s * between(key, k, 0.8, 1.25);
        (void)text_append_format(out,
                                 "%s{\"at_s\":%.3f,\"kind\":\"load\",\"wire\":\"%s\","
                                 "\"amps\":%.2f,\"for_s\":%.3f}",
                                 bench->switch_count ? "," : "", at_s, wire, amps, for_s);
        bench->switches_s[bench->switch_count++] = at_s;
        bench->switches_s[bench->switch_count++] = at_s + for_s;
        at_s += for_s + off_s * between(key, k + 1, 0.7, 1.4);
    }
}

static int write_script(struct bench *bench, uint64_t seed, struct text *out)
{
    bench->switch_count = 0;
    (void)text_append_format(
        out,
        "{\"version\":1,\"seed\":%" PRIu64 ",\"length_s\":%.0f,"
        "\"mains\":{\"wander_hz\":0.015,\"wobble\":0.005,\"pickup_counts\":40},"
        "\"heating\":{\"on_s\":700,\"off_s\":2000,\"first_s\":%.0f,\"rise_c\":4,\"lag_s\":2400},"
        "\"motion\":{\"range_m\":5,\"hold_s\":2.5,\"blind_s\":2.5,\"latency_s\":0.15,"
        "\"false_per_hour\":0.5},"
        "\"wires\":[{\"id\":\"supply\",\"through_m\":[9,1.2,0.3],\"along\":[0,0,1],"
        "\"standing_amps\":0.6},{\"id\":\"kitchen-ring\",\"through_m\":[10,0.2,0.3],"
        "\"along\":[1,0,0],\"fed_by\":\"supply\"},{\"id\":\"cellar-ring\","
        "\"through_m\":[10,0.2,-0.3],\"along\":[1,0,0],\"fed_by\":\"supply\"}],\"events\":[",
        seed, bench->hours * 3600.0, between(rng_key(7, seed, 0), 0, 0.0, 2000.0));
    write_appliance(bench, out, "kitchen-ring", 0.8, 700.0, 1500.0, rng_key(7, seed, 1));
    write_appliance(bench, out, "cellar-ring", 1.5, 400.0, 2600.0, rng_key(7, seed, 2));
    write_appliance(bench, out, "cellar-ring", 9.0, 900.0, 5400.0, rng_key(7, seed, 3));
    (void)text_append_format(out, "]}");
    return out->failed ? -1 : 0;
}

static bool is_switching(const struct bench *bench, double at_s)
{
    for (size_t i = 0; i < bench->switch_count; i++) {
        if (at_s > bench->switches_s[i] - BEFORE_S && at_s < bench->switches_s[i] + AFTER_S) {
            return true;
        }
    }
    return false;
}

static void on_disturbance(void *context, const struct disturbance *disturbance)
{
    struct bench *bench = context;
    double at_s = (double)disturbance->onset_ns * 1e-9;
    bool switching = is_switching(bench, at_s);
    bench->onsets++;
    bench->switching_onsets += switching;
    for (size_t kind = 0; kind < KINDS; kind++) {
        if (!switching && strcmp(kind_names[kind], disturbance->quantity_text) == 0) {
            bench->false_onsets[disturbance->node][kind][disturbance->band == BAND_MAINS]++;
        }
    }
    if (bench->verbose) {
        printf("%9.2f n%u %-11s %s score %6.2f of %5.2f%s\n", at_s, disturbance->node,
               disturbance->quantity_text, disturbance->band == BAND_MAINS ? "mains" : "rest ",
               disturbance->peak_score, disturbance->threshold, switching ? " switching" : "");
    }
}

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    struct bench *bench = context;
    struct coincidence judged = *coincidence;
    bench->coincidences += judged.final;
    if (alert_policy_judge(&bench->policy, &judged) == ALERT_RAISE) {
        bench->alerts++;
        if (bench->verbose) {
            printf("%9.2f ALERT: %s, %zu nodes, %.3g a night\n", (double)judged.start_ns * 1e-9,
                   cause_text(judged.verdict.cause), judged.node_count, judged.chance.per_night);
            for (size_t i = 0; i < judged.verdict.reason_count; i++) {
                printf("          %s\n", judged.verdict.reasons[i]);
            }
        }
    }
}

static void on_noticed(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    const struct bench *bench = context;
    if (bench->verbose) {
        printf("%9.2f n%u %s: %s\n", (double)time_ns * 1e-9, node, quantity, text);
    }
}

static int push_motion(struct pipeline *pipeline, const struct world_sampler *sampler,
                       uint32_t node, struct block *block, int64_t from_ns, struct error *error)
{
    struct world_change changes[64];
    int64_t times[65] = {0};
    int32_t counts[65] = {0};
    uint32_t count = from_ns == 0 ? 1 : 0;
    size_t more = world_sampler_changes(sampler, from_ns - 1, from_ns + NS_PER_S - 1, changes, 64);
    for (size_t i = 0; i < more; i++) {
        times[count] = changes[i].time_ns;
        counts[count++] = changes[i].count;
    }
    *block = (struct block){.channel = block->channel,
                            .count = count,
                            .t0_ns = times[0],
                            .times_ns = times,
                            .counts = counts};
    return count ? pipeline_push(pipeline, node, block, error) : 0;
}

static int push_second(struct pipeline *pipeline, struct world_sampler *sampler, uint32_t node,
                       int64_t second, struct error *error)
{
    int32_t counts[128];
    size_t channels;
    const struct channel *channel = world_sampler_channels(sampler, &channels);
    int64_t from_ns = second * NS_PER_S;
    for (uint16_t i = 0; i < channels; i++) {
        uint32_t rate = (uint32_t)(channel[i].rate_hz + 0.5);
        struct block block = {.channel = i, .count = rate, .t0_ns = from_ns, .counts = counts};
        if (rate == 0) {
            if (push_motion(pipeline, sampler, node, &block, from_ns, error)) {
                return -1;
            }
            continue;
        }
        block.period_ps = channel[i].period_ps;
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
    struct world_sampler *samplers[NODES] = {0};
    struct pipeline *pipeline = NULL;
    struct finding_sink sink = {.context = bench,
                                .disturbance = on_disturbance,
                                .coincidence = on_coincidence,
                                .noticed = on_noticed};
    int status = world_new(bench->site, script, &world, error);
    status = status ? status : pipeline_new(bench->site, &sink, &pipeline, error);
    for (uint32_t node = 0; node < NODES && status == 0; node++) {
        status = world_sampler_new(world, node, &samplers[node], error);
        if (status == 0) {
            size_t count;
            const struct channel *channels = world_sampler_channels(samplers[node], &count);
            status = pipeline_set_channels(pipeline, node, channels, count, error);
        }
    }
    int64_t seconds = (int64_t)(bench->hours * 3600.0);
    for (int64_t second = 0; second < seconds && status == 0; second++) {
        for (uint32_t node = 0; node < NODES && status == 0; node++) {
            status = push_second(pipeline, samplers[node], node, second, error);
        }
    }
    status = status ? status : pipeline_finish(pipeline, error);
    pipeline_free(pipeline);
    for (size_t node = 0; node < NODES; node++) {
        world_sampler_free(samplers[node]);
    }
    world_free(world);
    return status;
}

static int run_night(struct bench *bench, uint64_t seed, struct error *error)
{
    struct text text = {0};
    struct script *script = NULL;
    int status = -1;
    alert_policy_init(&bench->policy, bench->site->alert_limit_per_night);
    if (write_script(bench, seed, &text) == 0 &&
        script_parse(text.bytes, text.length, "quiet", bench->site, &script, error) == 0) {
        status = run_world(bench, script, error);
    }
    script_free(script);
    text_free(&text);
    bench->watched_h += bench->hours - BASELINE_S / 3600.0;
    return status;
}

/* False onsets of one kind beside what was asked of it, all nodes together. */
static void print_kind(const struct bench *bench, size_t kind, double asked)
{
    size_t total = 0;
    printf("%-12s false onsets by node (rest+mains):", kind_names[kind]);
    for (size_t node = 0; node < NODES; node++) {
        const size_t *bands = bench->false_onsets[node][kind];
        printf(" %zu+%zu", bands[0], bands[1]);
        total += bands[0] + bands[1];
    }
    double expected = asked * bench->watched_h * NODES;
    printf("; %zu of %.0f asked: %.2f +- %.2f\n", total, expected, (double)total / expected,
           sqrt((double)total + 1.0) / expected);
}

int main(int argc, char **argv)
{
    struct bench bench = {.hours = argc > 3 ? atof(argv[3]) : 8.0, .verbose = argc > 4};
    uint64_t first = argc > 1 ? strtoull(argv[1], NULL, 10) : 1;
    uint64_t nights = argc > 2 ? strtoull(argv[2], NULL, 10) : 20;
    struct text text = {0};
    struct error error = {0};
    if (write_site(&text) || site_parse(text.bytes, text.length, "quiet", &bench.site, &error)) {
        fprintf(stderr, "bench_quiet: %s\n", error.text);
        return 1;
    }
    text_free(&text);
    int status = 0;
    clock_t start = clock();
    for (uint64_t night = 0; night < nights && status == 0; night++) {
        status = run_night(&bench, first + night, &error);
    }
    if (status) {
        fprintf(stderr, "bench_quiet: %s\n", error.text);
    }
    printf("%" PRIu64 " nights of %g h, %.1f s of CPU: %zu onsets, %zu of them at a switching;"
           " %zu coincidences, %zu alerts: %.3f a night\n",
           nights, bench.hours, (double)(clock() - start) / CLOCKS_PER_SEC, bench.onsets,
           bench.switching_onsets, bench.coincidences, bench.alerts,
           (double)bench.alerts / (double)nights);
    for (size_t kind = 0; kind < KINDS; kind++) {
        print_kind(&bench, kind, bench.site->false_onsets_per_hour);
    }
    site_free(bench.site);
    return status ? 1 : 0;
}
