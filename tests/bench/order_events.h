/* Seeded coincidences whose truth is known, through the real detectors: what the order code is
 * measured with. Must never read a clock. Used by bench_order.c and by a test. */
#ifndef ROOMWAKE_TESTS_BENCH_ORDER_EVENTS_H
#define ROOMWAKE_TESTS_BENCH_ORDER_EVENTS_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/order.h"
#include "collector/detect/detector.h"
#include "common/channel.h"
#include "common/clock.h"

#define ORDER_NODES 5
#define ORDER_RUN_EVENTS 100 /* after each quiet spell */
#define ORDER_QUIET_S 60
#define ORDER_EVERY_S 12
#define ORDER_START_NS (INT64_C(1700000000) * NS_PER_S)
#define ORDER_CONFIDENCE 0.95
#define ORDER_APART_NS 80e6

enum order_truth { ORDER_APART, ORDER_SAME, ORDER_MAINS };

struct order_decile {
    size_t cases, right;
    double stated; /* sum */
};

struct order_tally {
    struct order_decile deciles[10];
    size_t cases, claims, claims_right, together;
};

/* One kind of pick: by rate and shape. */
struct order_picks {
    size_t count, within, within_half;              /* two sigma and half a sigma */
    double sum_s, squares_s, squares_sd, squares_z; /* error, error^2, stated^2, (error/stated)^2 */
};

struct order_trial {
    uint64_t seed;
    double spare;
    bool has_spare;
    double true_s[ORDER_NODES][ORDER_RUN_EVENTS]; /* since ORDER_START_NS */
    int shape[ORDER_NODES][ORDER_RUN_EVENTS];
    struct disturbance seen[ORDER_NODES][ORDER_RUN_EVENTS];
    bool found[ORDER_NODES][ORDER_RUN_EVENTS];
    enum order_truth truth;
    int node; /* that is run just now */
    int32_t counts[(ORDER_QUIET_S + ORDER_EVERY_S * ORDER_RUN_EVENTS) * 250];
    struct order_picks picks[ORDER_NODES][3];
};

static const double order_rates_hz[ORDER_NODES] = {200, 100, 100, 50, 20};
static const double order_mains_rates_hz[ORDER_NODES] = {200, 160, 250, 125, 180};
static const char *const order_shapes[3] = {"sharp", "rise to 50 ms", "rise to 200 ms"};

static inline double order_uniform(struct order_trial *trial)
{
    uint64_t z = (trial->seed += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) * 0x1p-53;
}

static inline double order_between(struct order_trial *trial, double low, double high)
{
    return low + (high - low) * order_uniform(trial);
}

static inline double order_normal(struct order_trial *trial)
{
    if (trial->has_spare) {
        trial->has_spare = false;
        return trial->spare;
    }
    double radius = sqrt(-2.0 * log(order_uniform(trial)));
    double angle = 6.283185307179586 * order_uniform(trial);
    trial->spare = radius * sin(angle);
    trial->has_spare = true;
    return radius * cos(angle);
}

static inline void order_on_opened(void *context, const struct disturbance *disturbance)
{
    struct order_trial *trial = context;
    double since_s = (double)(disturbance->onset_ns - ORDER_START_NS) * 1e-9;
    for (int e = 0; e < ORDER_RUN_EVENTS; e++) {
        if (fabs(since_s - trial->true_s[trial->node][e]) < 0.4 && !trial->found[trial->node][e]) {
            trial->seen[trial->node][e] = *disturbance;
            trial->found[trial->node][e] = true;
        }
    }
}

static inline double order_rate_hz(const struct order_trial *trial, int node)
{
    return trial->truth == ORDER_MAINS ? order_mains_rates_hz[node] : order_rates_hz[node];
}

/* Hum of the mains that a load makes stronger for two seconds, at any phase. */
static inline void order_make_hum(struct order_trial *trial, int node, size_t count)
{
    double rate_hz = order_rate_hz(trial, node);
    double heights[ORDER_RUN_EVENTS];
    for (int e = 0; e < ORDER_RUN_EVENTS; e++) {
        heights[e] = 100.0 * 10.0 * pow(12.0, order_uniform(trial));
        trial->shape[node][e] = 0;
    }
    for (size_t i = 0; i < count; i++) {
        double at_s = (double)i / rate_hz;
        double amplitude = 300.0;
        for (int e = 0; e < ORDER_RUN_EVENTS; e++) {
            double since_s = at_s - trial->true_s[node][e];
            amplitude += since_s >= 0.0 && since_s < 2.0 ? heights[e] : 0.0;
        }
        trial->counts[i] = (int32_t)lrint(100.0 * order_normal(trial) +
                                          amplitude * sin(314.159265358979 * at_s + node));
    }
}

/* Noise of 100 counts, and each event a level for two seconds that comes at once or rises. */
static inline void order_make_samples(struct order_trial *trial, int node, size_t count)
{
    double rate_hz = order_rate_hz(trial, node);
    for (size_t i = 0; i < count; i++) {
        trial->counts[i] = (int32_t)lrint(100.0 * order_normal(trial));
    }
    for (int e = 0; e < ORDER_RUN_EVENTS; e++) {
        static const double rises_s[3] = {0.0, 0.05, 0.2};
        int shape = (int)order_between(trial, 0, 3);
        double rise_s = rises_s[shape] * order_between(trial, 0.2, 1.0);
        double height = 100.0 * 8.0 * pow(12.0, order_uniform(trial));
        double from_s = trial->true_s[node][e];
        trial->shape[node][e] = shape;
        for (size_t i = (size_t)ceil(from_s * rate_hz);
             i < count && (double)i / rate_hz < from_s + 2.0; i++) {
            double since_s = (double)i / rate_hz - from_s;
            double part = rise_s > 0.0 ? fmin(1.0, since_s / rise_s) : 1.0;
            trial->counts[i] += (int32_t)lrint(height * part);
        }
    }
}

static inline void order_run_node(struct order_trial *trial, int node)
{
    static const uint16_t indices[] = {0};
    const struct detector_settings settings = {
        .mains_hz = 50.0, .baseline_s = ORDER_QUIET_S, .false_onsets_per_hour = 0.5};
    const struct detector_sink sink = {.context = trial, .opened = order_on_opened};
    double rate_hz = order_rate_hz(trial, node);
    size_t count = (size_t)((ORDER_QUIET_S + ORDER_EVERY_S * (ORDER_RUN_EVENTS - 0.1)) * rate_hz);
    struct detector *detector = NULL;
    struct channel channel;
    struct error error;
    if (channel_init(&channel, trial->truth == ORDER_MAINS ? "magnetic.x" : "light", NULL, rate_hz,
                     &error)) {
        fprintf(stderr, "%s\n", error.text);
        exit(1);
    }
    channel.step = (struct decimal){1, -9};
    if (detector_new(&settings, (uint32_t)node, &channel, indices, 1, &sink, &detector, &error)) {
        fprintf(stderr, "%s\n", error.text);
        exit(1);
    }
    trial->node = node;
    memset(trial->found[node], 0, sizeof trial->found[node]);
    if (trial->truth == ORDER_MAINS) {
        order_make_hum(trial, node, count);
    } else {
        order_make_samples(trial, node, count);
    }
    for (size_t from = 0; from < count; from += 4000) {
        struct block block = {.count = (uint32_t)(count - from < 4000 ? count - from : 4000),
                              .t0_ns = ORDER_START_NS + (int64_t)from * channel.period_ps / 1000,
                              .period_ps = channel.period_ps,
                              .counts = trial->counts + from};
        detector_push(detector, &block);
        detector_advance(detector, block_time_ns(&block, block.count));
    }
    detector_finish(detector);
    detector_free(detector);
}

static inline void order_note_picks(struct order_trial *trial)
{
    for (int n = 0; n < ORDER_NODES; n++) {
        for (int e = 0; e < ORDER_RUN_EVENTS; e++) {
            struct order_picks *picks = &trial->picks[n][trial->shape[n][e]];
            double off = (double)(order_moment_ns(&trial->seen[n][e]) - ORDER_START_NS) * 1e-9 -
                         trial->true_s[n][e];
            double sd = (double)disturbance_onset_sd_ns(&trial->seen[n][e]) * 1e-9;
            if (trial->found[n][e] && trial->truth != ORDER_MAINS) {
                picks->count++;
                picks->within += fabs(off) <= 2 * sd;
                picks->within_half += fabs(off) <= sd / 2;
                picks->sum_s += off;
                picks->squares_s += off * off;
                picks->squares_sd += sd * sd;
                picks->squares_z += off * off / (sd * sd);
            }
        }
    }
}

/* A random one of the probabilities is noted, so that all cases are independent. */
static inline void order_judge(struct order_trial *trial, const struct disturbance *const *members,
                               size_t count, const double *true_s, struct order_tally *tally)
{
    struct order_entry entries[ORDER_NODES];
    (void)order_gather(members, count, entries, ORDER_NODES);
    uint32_t first = entries[0].node;
    for (size_t i = 1; i < count; i++) {
        first = true_s[entries[i].node] < true_s[first] ? entries[i].node : first;
    }
    order_first(entries, count);
    bool together = order_together(entries, count, ORDER_CONFIDENCE);
    bool claimed = !together && entries[0].first_probability >= ORDER_CONFIDENCE;
    const struct order_entry *any = &entries[(size_t)order_between(trial, 0, (double)count)];
    struct order_decile *decile = &tally->deciles[(int)fmin(9, any->first_probability * 10)];
    decile->cases++;
    decile->stated += any->first_probability;
    decile->right += any->node == first;
    tally->cases++;
    tally->together += together;
    tally->claims += claimed;
    tally->claims_right += claimed && entries[0].node == first;
}

/* Any two or more of the nodes, on clocks that are off as they say: half evenly spread within their
 * bound, half normal. */
static inline void order_take_event(struct order_trial *trial, int event, struct order_tally *tally)
{
    struct disturbance seen[ORDER_NODES];
    const struct disturbance *members[ORDER_NODES];
    double true_s[ORDER_NODES];
    size_t count = 0;
    size_t least = (size_t)order_between(trial, 2, ORDER_NODES + 1);
    for (uint32_t n = 0; n < ORDER_NODES; n++) {
        true_s[n] = trial->true_s[n][event];
        bool wanted = order_uniform(trial) < (double)(least - count) / (double)(ORDER_NODES - n);
        if (!trial->found[n][event] || !wanted || count == least) {
            continue;
        }
        double clock_s = 1e-4 * pow(100.0, order_uniform(trial));
        double off_s = order_uniform(trial) < 0.5
                           ? clock_s * sqrt(3.0) * order_between(trial, -1, 1)
                           : clock_s * order_normal(trial);
        seen[count] = trial->seen[n][event];
        seen[count].onset_ns += llround(off_s * 1e9);
        seen[count].clock_sd_ns = llround(clock_s * 1e9);
        members[count] = &seen[count];
        count++;
    }
    if (count >= 2) {
        order_judge(trial, members, count, true_s, tally);
    }
}

static inline void order_trial_run(struct order_trial *trial, size_t wanted, enum order_truth truth,
                                   struct order_tally *tally)
{
    memset(trial, 0, sizeof *trial);
    trial->truth = truth;
    while (tally->cases < wanted) {
        for (int e = 0; e < ORDER_RUN_EVENTS; e++) {
            double at_s = ORDER_QUIET_S + ORDER_EVERY_S * (e + 0.2) + order_uniform(trial);
            for (int n = 0; n < ORDER_NODES; n++) {
                trial->true_s[n][e] =
                    at_s +
                    (truth == ORDER_APART ? order_between(trial, 0, ORDER_APART_NS * 1e-9) : 0);
            }
        }
        for (int n = 0; n < ORDER_NODES; n++) {
            order_run_node(trial, n);
        }
        order_note_picks(trial);
        for (int e = 0; e < ORDER_RUN_EVENTS && tally->cases < wanted; e++) {
            order_take_event(trial, e, tally);
        }
    }
}

/* Wilson's score interval at 99 % (E. B. Wilson, JASA 22 (1927) 209). */
static inline void order_decile_interval(const struct order_decile *decile, double *low,
                                         double *high)
{
    double z = 2.5758293035489004;
    double n = (double)decile->cases;
    double p = decile->stated / n;
    double half = z * sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n);
    double middle = (p + z * z / (2 * n)) / (1 + z * z / n);
    *low = middle - half;
    *high = middle + half;
}

static inline void order_trial_print_picks(const struct order_trial *trial)
{
    printf("%6s %-16s %7s %10s %10s %10s %8s\n", "Hz", "shape", "picks", "mean ms", "rms ms",
           "stated ms", "rms z");
    for (int n = 0; n < ORDER_NODES; n++) {
        for (int s = 0; s < 3; s++) {
            const struct order_picks *picks = &trial->picks[n][s];
            double count = (double)(picks->count ? picks->count : 1);
            printf("%6.0f %-16s %7zu %10.2f %10.2f %10.2f %8.2f\n", order_rate_hz(trial, n),
                   order_shapes[s], picks->count, 1e3 * picks->sum_s / count,
                   1e3 * sqrt(picks->squares_s / count), 1e3 * sqrt(picks->squares_sd / count),
                   sqrt(picks->squares_z / count));
        }
    }
    printf("\n");
}

#endif
