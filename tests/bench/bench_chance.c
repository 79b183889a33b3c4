/* Whether the stated chance is true: nights without any cause, their onset lists drawn at usual
 * rates, through the correlator: how often findings of each stated rarity come, and whether
 * p-values are even. bench_chance [NIGHTS [SEED [live]]]. Must never run as part of the tests: it
 * takes minutes. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/correlator.h"
#include "collector/correlate/poisson.h"
#include "common/clock.h"
#include "node/world/rng.h"

#define NODES 6
#define NIGHT_NS INT64_C(28800000000000)
#define FINDINGS_MAX 400000
#define ONSETS_MAX 2048
#define CLASS_NODES 8

/* Onsets an hour of each quantity at each node, as the full-sample nights gave. */
static const struct {
    const char *name;
    enum quantity quantity;
    double per_hour;
    int64_t sd_ns;
} quantities[] = {
    {"magnetic", QUANTITY_MAGNETIC, 0.5, 5000000},
    {"electric", QUANTITY_ELECTRIC, 0.5, 5000000},
    {"temperature", QUANTITY_TEMPERATURE, 0.4, 2000000000},
    {"motion", QUANTITY_MOTION, 0.3, 300000000},
};
#define QUANTITIES (sizeof quantities / sizeof quantities[0])

static struct site_room rooms[NODES];
static struct site_door doors[NODES];
static struct site_node nodes[NODES];

struct found {
    int64_t id;
    bool prompt;
    size_t nodes;
    double live;   /* per night, as told while it went on */
    double slides; /* as told at its end; NAN where it was not */
    double slides_p;
};

struct night {
    size_t first; /* its findings */
    size_t count;
};

struct bench {
    struct found *found;
    size_t count;
    size_t night_first;
};

static struct site build_site(void)
{
    struct site site = {.room_count = NODES,
                        .rooms = rooms,
                        .doors = doors,
                        .node_count = NODES,
                        .nodes = nodes,
                        .false_onsets_per_hour = 0.5,
                        .order_confidence = 0.95};
    for (size_t i = 0; i < NODES; i++) {
        double x = 4.5 * (double)(i % 3);
        double y = 4.0 * (double)(i / 3);
        const double corners[4][2] = {{x, y}, {x + 4.5, y}, {x + 4.5, y + 4}, {x, y + 4}};
        rooms[i].corner_count = 4;
        memcpy(rooms[i].outline_m, corners, sizeof corners);
        nodes[i].room = i;
        nodes[i].position_m[0] = x + 0.7 + 3.0 * rng_uniform(3, i);
        nodes[i].position_m[1] = y + 0.7 + 2.6 * rng_uniform(4, i);
        nodes[i].position_m[2] = 1.0;
        if (i % 3 > 0) {
            doors[site.door_count++] = (struct site_door){{i - 1, i}, {x, y + 2.0}};
        } else if (i >= 3) {
            doors[site.door_count++] = (struct site_door){{i - 3, i}, {x + 2.0, y}};
        }
    }
    return site;
}

static void ignore(void *context, const struct disturbance *disturbance)
{
    (void)context;
    (void)disturbance;
}

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    struct bench *bench = context;
    if (coincidence->final && bench->count < FINDINGS_MAX) {
        bench->found[bench->count++] =
            (struct found){.id = coincidence->id,
                           .prompt = coincidence->kind == COINCIDENCE_PROMPT,
                           .nodes = coincidence->node_count,
                           .live = coincidence->chance.per_night,
                           .slides = NAN,
                           .slides_p = NAN};
    }
}

static void on_chance(void *context, int64_t id, const struct chance *chance)
{
    struct bench *bench = context;
    for (size_t i = bench->night_first; i < bench->count; i++) {
        if (bench->found[i].id == id) {
            bench->found[i].slides = chance->per_night;
            bench->found[i].slides_p = chance->p_value;
        }
    }
}

static int push_stream(struct correlator *correlator, uint64_t key, uint32_t node, size_t which,
                       double times, struct error *error)
{
    double mean_s = 3600.0 / (times * quantities[which].per_hour);
    double at_s = 0.0;
    for (uint64_t i = 0;; i++) {
        at_s -= mean_s * log(rng_uniform(key, i));
        if (at_s >= (double)NIGHT_NS * 1e-9) {
            return 0;
        }
        struct disturbance disturbance = {.node = node,
                                          .quantity = quantities[which].quantity,
                                          .unit = "T",
                                          .onset_ns = llround(at_s * 1e9),
                                          .pick_sd_ns = quantities[which].sd_ns,
                                          .clock_sd_ns = 1000000,
                                          .peak_score = 6.0,
                                          .threshold = 5.5,
                                          .baseline_scale = 1e-8,
                                          .peak_value = 6e-8};
        (void)snprintf(disturbance.quantity_text, sizeof disturbance.quantity_text, "%s",
                       quantities[which].name);
        disturbance.peak_ns = disturbance.onset_ns;
        disturbance.end_ns = disturbance.onset_ns + 100000000;
        disturbance.closed_ns = disturbance.end_ns + 500000000;
        disturbance.returned = true;
        if (correlator_open(correlator, &disturbance, error)) {
            return -1;
        }
    }
}

static int run_night(struct bench *bench, const struct site *site, uint64_t key, double times,
                     bool slide, struct error *error)
{
    struct correlator_sink sink = {.context = bench,
                                   .disturbance = ignore,
                                   .disturbance_ended = ignore,
                                   .coincidence = on_coincidence,
                                   .chance = on_chance};
    struct correlator *correlator = NULL;
    bench->night_first = bench->count;
    int status = correlator_new(site, &sink, &correlator, error);
    for (uint32_t node = 0; node < NODES && status == 0; node++) {
        for (size_t which = 0; which < QUANTITIES && status == 0; which++) {
            status = correlator_watch(correlator, node, quantities[which].name, 0, error);
            status = status ? status
                            : push_stream(correlator, rng_key(key, node, which), node, which, times,
                                          error);
        }
    }
    status = status ? status : correlator_finish(correlator, error);
    status = status || !slide ? status : correlator_slide(correlator, NIGHT_NS, error);
    correlator_free(correlator);
    return status;
}

static void print_classes(const struct bench *bench, size_t nights)
{
    printf("class              a night   stated (mean of live)\n");
    for (int prompt = 1; prompt >= 0; prompt--) {
        for (size_t k = 2; k <= CLASS_NODES; k++) {
            size_t count = 0;
            double sum = 0.0;
            for (size_t i = 0; i < bench->count; i++) {
                const struct found *found = &bench->found[i];
                if (found->prompt == (prompt != 0) && found->nodes == k) {
                    count++;
                    sum += found->live;
                }
            }
            if (count) {
                printf("%-10s %zu nodes %8.4f   %8.4f\n", prompt ? "prompt" : "travelling", k,
                       (double)count / (double)nights, sum / (double)count);
            }
        }
    }
}

/* How many a night are stated to be as rare as r, against r, with what chance leaves open. */
static void print_rates(const struct bench *bench, size_t nights, bool slides)
{
    static const double rates[] = {0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0};
    printf("%s: stated at most r a night, came a night (95 %% interval)\n",
           slides ? "time slides" : "live");
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        size_t count = 0;
        double low;
        double high;
        for (size_t k = 0; k < bench->count; k++) {
            count += (slides ? bench->found[k].slides : bench->found[k].live) <= rates[i];
        }
        poisson_limits(count, 0.95, &low, &high);
        bool holds = low <= rates[i] * (double)nights && high >= rates[i] * (double)nights;
        printf("  %6.2f  %8.4f (%.4f to %.4f)%s\n", rates[i], (double)count / (double)nights,
               low / (double)nights, high / (double)nights,
               holds ? "" : (count == bench->count ? "  (all there were)" : "  *"));
    }
}

static int by_value(const void *a, const void *b)
{
    double left = *(const double *)a;
    double right = *(const double *)b;
    return (left > right) - (left < right);
}

/* Kolmogorov-Smirnov: each night's rarest finding, its p-value, against even. */
static void print_even(const struct bench *bench, const struct night *all, size_t nights,
                       bool slides)
{
    double *values = calloc(nights + 1, sizeof *values);
    double worst = 0.0;
    for (size_t i = 0; values && i < nights; i++) {
        values[i] = 1.0;
        for (size_t k = all[i].first; k < all[i].first + all[i].count; k++) {
            double p = slides ? bench->found[k].slides_p : -expm1(-bench->found[k].live);
            values[i] = p < values[i] ? p : values[i];
        }
    }
    if (values) {
        qsort(values, nights, sizeof *values, by_value);
    }
    for (size_t i = 0; values && i < nights; i++) {
        double n = (double)nights;
        worst = fmax(worst, fmax(values[i] - (double)i / n, (double)(i + 1) / n - values[i]));
    }
    printf("%s: the rarest of each night, p-values off even by at most %.3f (5 %% limit %.3f)\n",
           slides ? "time slides" : "live", worst, 1.358 / sqrt((double)nights));
    free(values);
}

static int run_nights(const struct site *site, size_t nights, uint64_t seed, double times,
                      bool slide)
{
    struct bench bench = {.found = calloc(FINDINGS_MAX, sizeof *bench.found)};
    struct night *all = calloc(nights + 1, sizeof *all);
    struct error error = {0};
    int status = all && bench.found ? 0 : -1;
    for (size_t i = 0; i < nights && status == 0; i++) {
        all[i].first = bench.count;
        status = run_night(&bench, site, rng_key(seed, i, 77), times, slide, &error);
        all[i].count = bench.count - all[i].first;
    }
    if (status) {
        fprintf(stderr, "bench_chance: %s\n", error.text);
    } else {
        printf("%zu nights of 8 h, %d nodes, %.2g times the usual rates, %zu findings\n", nights,
               NODES, times, bench.count);
        print_classes(&bench, nights);
        for (int slides = 0; slides <= (slide ? 1 : 0); slides++) {
            print_rates(&bench, nights, slides != 0);
            print_even(&bench, all, nights, slides != 0);
        }
    }
    free(bench.found);
    free(all);
    return status;
}

int main(int argc, char **argv)
{
    size_t nights = argc > 1 ? strtoul(argv[1], NULL, 10) : 200;
    uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
    bool slide = argc <= 3; /* any third word: live only */
    struct site site = build_site();
    /* Usual nights bring about six findings; the busier ones are for what comes ten times. */
    return run_nights(&site, nights, seed, 1.0, slide) ||
                   run_nights(&site, nights, seed + 1, 1.7, slide)
               ? 1
               : 0;
}
