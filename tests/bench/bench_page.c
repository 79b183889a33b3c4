/* Makes a whole night for the page's tests and figures (bench_page NIGHT RATE_HZ): 12 nodes, 8
 * hours, a spike of one sample, findings, marks, a gap, question windows. Must never be more than a
 * maker: what is measured is measured in a browser. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/model/question.h"
#include "collector/night/writer.h"
#include "common/clock.h"
#include "common/text.h"

#define NODES 12u
#define CHANNELS 4u
#define SECONDS 28800
#define FINDINGS 60
#define SPIKE_NODE 7u
#define SPIKE_CHANNEL 1u
#define SPIKE_SECOND 18000
#define SPIKE_COUNTS 4000
#define NOISE_SIZE (1u << 18)
#define START_NS (INT64_C(1700000000) * NS_PER_S)
#define QUESTIONS 10
#define QUESTIONS_SECOND 7200
#define WINDOW_S 20
#define MARKS 4
#define OVERLAPPING_SECOND 15100 /* the last mark begins within the second one */
#define GAP_NODE 3u
#define GAP_SECOND 3600
#define GAP_S 900

struct maker {
    struct night_writer *writer;
    const struct site *site;
    int32_t *noise;
    int32_t counts[CHANNELS][1024];
    uint32_t rate;
    uint32_t frame_s; /* a frame's length: long ones make a small night quickly */
};

static void make_noise(int32_t *counts)
{
    uint64_t state = 1;
    for (size_t i = 0; i < NOISE_SIZE; i++) {
        double sum = -6;
        for (int j = 0; j < 12; j++) {
            state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
            sum += (double)(state >> 11) / 9007199254740992.0;
        }
        counts[i] = 48000 + (int32_t)lround(4 * sum);
    }
}

static int put_frame(struct maker *maker, uint32_t node, int64_t second, struct error *error)
{
    struct block blocks[CHANNELS];
    int64_t node_t0_ns[CHANNELS];
    struct clock_fit fit = {.known = true, .ref_node_ns = second / 16 * 16 * NS_PER_S};
    struct night_frame_id id = {node, 77, (uint64_t)second / maker->frame_s + 1};
    if (node == GAP_NODE && second >= GAP_SECOND && second < GAP_SECOND + GAP_S) {
        return 0;
    }
    for (uint16_t i = 0; i < CHANNELS; i++) {
        size_t at = (size_t)(second * CHANNELS + i + node * 977) * 131 % (NOISE_SIZE - 1024);
        memcpy(maker->counts[i], maker->noise + at,
               maker->rate * maker->frame_s * sizeof **maker->counts);
        if (node == SPIKE_NODE && i == SPIKE_CHANNEL && second == SPIKE_SECOND) {
            maker->counts[i][maker->rate / 2] += SPIKE_COUNTS;
        }
        blocks[i] = (struct block){.channel = i,
                                   .count = maker->rate * maker->frame_s,
                                   .t0_ns = START_NS + second * NS_PER_S,
                                   .period_ps = PS_PER_S / maker->rate,
                                   .counts = maker->counts[i]};
        node_t0_ns[i] = second * NS_PER_S;
    }
    while (night_put_frame(maker->writer, &id, &fit, blocks, node_t0_ns, CHANNELS, false, error) !=
           0) {
        if (error->code != ERROR_FULL || night_writer_flush(maker->writer, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static void make_disturbance(struct disturbance *d, int64_t id, uint32_t node, int64_t onset_ns)
{
    *d = (struct disturbance){.id = id,
                              .node = node,
                              .quantity = QUANTITY_MAGNETIC,
                              .onset_ns = onset_ns,
                              .pick_sd_ns = 1000000,
                              .sampling_sd_ns = 500000,
                              .clock_sd_ns = 300000,
                              .end_ns = onset_ns + NS_PER_S,
                              .closed_ns = onset_ns + NS_PER_S,
                              .peak_ns = onset_ns + 100000000,
                              .peak_value = 1e-6,
                              .peak_score = 12,
                              .baseline_scale = 1e-8,
                              .threshold = 7,
                              .returned = true};
    (void)snprintf(d->quantity_text, sizeof d->quantity_text, "magnetic");
    (void)snprintf(d->unit, sizeof d->unit, "T");
}

static int put_finding(struct maker *maker, struct coincidence *c, int64_t number,
                       struct error *error)
{
    int64_t onset_ns = START_NS + (900 + number * 450) * NS_PER_S;
    *c =
        (struct coincidence){.id = number + 1,
                             .kind = COINCIDENCE_PROMPT,
                             .start_ns = onset_ns,
                             .end_ns = onset_ns + NS_PER_S,
                             .member_count = 3,
                             .witness_count = 3,
                             .node_count = 3,
                             .order_count = 3,
                             .chance = {.per_night = number % 9 == 0 ? 0.002 : 0.8, .p_value = 0.5},
                             .final = true,
                             .together = number % 4 == 1,
                             .alert = number % 9 == 0};
    for (uint32_t i = 0; i < 3; i++) {
        uint32_t node = (uint32_t)(number + i) % NODES;
        make_disturbance(&c->members[i], 3 * number + i + 1, node, onset_ns + i * 2000000);
        c->order[i] = (struct order_entry){.node = node,
                                           .onset_ns = onset_ns + i * 2000000,
                                           .onset_sd_ns = 1200000,
                                           .first_probability = 0.4};
        if (night_put_disturbance(maker->writer, 1, &c->members[i], error) != 0) {
            return -1;
        }
    }
    c->verdict.cause = CAUSE_UNEXPLAINED;
    c->verdict.reason_count = 1;
    (void)snprintf(c->verdict.reasons[0], COINCIDENCE_REASON_SIZE, "made for a test: nothing fits");
    return night_put_coincidence(maker->writer, 1, c, error);
}

static int put_question(struct maker *maker, uint32_t nth, struct error *error)
{
    char words[] = "is somebody there?";
    char none[] = "";
    struct message_question said = {.session = "kitchen",
                                    .what = nth % 2 ? QUESTION_ASKED : QUESTION_SILENT,
                                    .nth = nth,
                                    .length_ns = WINDOW_S * NS_PER_S,
                                    .text = nth % 2 ? words : none};
    int64_t time_ns = START_NS + (QUESTIONS_SECOND + (int64_t)nth * 4 * WINDOW_S) * NS_PER_S;
    struct text json = {0};
    int result = message_question_write(&said, &json) == 0
                     ? night_put_log(maker->writer, time_ns, QUESTION_LOG_LEVEL, json.bytes, error)
                     : error_set(error, ERROR_MEMORY, "out of memory");
    text_free(&json);
    return result;
}

/* What happened beside the samples. */
static int put_events(struct maker *maker, struct error *error)
{
    struct gap gap = {.node = GAP_NODE,
                      .start_ns = START_NS + GAP_SECOND * NS_PER_S,
                      .end_ns = START_NS + (GAP_SECOND + GAP_S) * NS_PER_S,
                      .reason = "the node was off"};
    int result = night_put_gap(maker->writer, &gap, error);
    for (int64_t i = 0; result == 0 && i < MARKS; i++) {
        int64_t second = i < MARKS - 1 ? 12000 + 3000 * i : OVERLAPPING_SECOND;
        struct mark mark = {.id = i + 1,
                            .start_ns = START_NS + second * NS_PER_S,
                            .noted_ns = START_NS + second * NS_PER_S,
                            .text = "I walked through",
                            .who = "kim"};
        mark.end_ns = mark.start_ns + 300 * NS_PER_S;
        (void)snprintf(mark.room, sizeof mark.room, "%s", i == 0 ? "" : "room-1");
        result = night_put_mark(maker->writer, &mark, error);
    }
    for (uint32_t node = 0; node < NODES; node++) {
        for (int64_t i = 0; result == 0 && i < 32; i++) {
            result = night_put_clock(maker->writer, node, START_NS + i * 900 * NS_PER_S,
                                     100000 + i * (node + 1) % 7 * 40000, error);
        }
    }
    for (uint32_t i = 1; result == 0 && i <= QUESTIONS; i++) {
        result = put_question(maker, i, error);
    }
    return result;
}

static int fill(struct maker *maker, struct error *error)
{
    struct coincidence *c = malloc(sizeof *c);
    int result = c ? 0 : error_set(error, ERROR_MEMORY, "out of memory");
    for (uint32_t node = 0; result == 0 && node < NODES; node++) {
        struct channel channels[CHANNELS];
        memcpy(channels, maker->site->nodes[node].channels, sizeof channels);
        for (size_t i = 0; i < 3; i++) {
            channels[i].step = (struct decimal){.mantissa = 1, .exponent = -9};
        }
        result = night_put_channels(maker->writer, node, 77, channels, CHANNELS, error);
    }
    for (int64_t second = 0; result == 0 && second < SECONDS; second += maker->frame_s) {
        for (uint32_t node = 0; result == 0 && node < NODES; node++) {
            result = put_frame(maker, node, second, error);
        }
    }
    result = result == 0 ? put_events(maker, error) : -1;
    result = result == 0 ? night_put_analysis(maker->writer, 1, maker->site, "live", error) : -1;
    for (int64_t i = 0; result == 0 && i < FINDINGS; i++) {
        result = put_finding(maker, c, i, error);
    }
    free(c);
    return result;
}

/* Four rooms by three, each with a node and its four channels. */
static void describe(struct text *out, uint32_t rate)
{
    (void)text_append_format(out, "{\"site\":\"bench\",\"title\":\"A made house\",\"rooms\":[");
    for (unsigned i = 0; i < NODES; i++) {
        unsigned x = i % 4 * 4;
        unsigned y = i / 4 * 4;
        (void)text_append_format(
            out,
            "%s{\"id\":\"room-%u\",\"title\":\"Room %u\",\"outline_m\":[[%u,%u]"
            ",[%u,%u],[%u,%u],[%u,%u]]}",
            i ? "," : "", i + 1, i + 1, x, y, x + 4, y, x + 4, y + 4, x, y + 4);
    }
    (void)text_append_format(out, "],\"doors\":[],\"nodes\":[");
    for (unsigned i = 0; i < NODES; i++) {
        (void)text_append_format(out,
                                 "%s{\"id\":\"n%u\",\"room\":\"room-%u\",\"position_m\":[%u,%u,1],"
                                 "\"control\":%s,\"channels\":[",
                                 i ? "," : "", i + 1, i + 1, i % 4 * 4 + 2, i / 4 * 4 + 2,
                                 i == NODES - 1 ? "true" : "false");
        for (unsigned axis = 0; axis < 3; axis++) {
            (void)text_append_format(out,
                                     "{\"name\":\"magnetic.%c\",\"unit\":\"T\",\"rate_hz\":%u},",
                                     'x' + (int)axis, rate);
        }
        (void)text_append_format(out, "{\"name\":\"electric\",\"unit\":\"count\",\"rate_hz\":%u}]}",
                                 rate);
    }
    (void)text_append_format(out, "]}");
}

static int make(const char *path, struct maker *maker, const struct site *site,
                const struct text *text, struct error *error)
{
    struct night_settings settings = {.path = path,
                                      .site = site,
                                      .site_text = text->bytes,
                                      .start_ns = START_NS,
                                      .origin = "made for a test",
                                      .clock = clock_system()};
    maker->site = site;
    if (night_writer_open(&settings, NULL, NULL, &maker->writer, error) != 0 ||
        fill(maker, error) != 0) {
        return -1;
    }
    return night_writer_close(maker->writer, START_NS + SECONDS * NS_PER_S, error);
}

int main(int count, char **arguments)
{
    struct maker maker = {.rate = count > 2 ? (uint32_t)strtoul(arguments[2], NULL, 10) : 0};
    struct error error = {0};
    struct text text = {0};
    struct site *site = NULL;
    maker.frame_s = maker.rate <= 10 ? 10 : 1;
    if (maker.rate < 1 || maker.rate > 1000) {
        (void)fprintf(stderr, "usage: bench_page NIGHT RATE_HZ\n");
        return 2;
    }
    maker.noise = malloc(NOISE_SIZE * sizeof *maker.noise);
    describe(&text, maker.rate);
    if (!maker.noise || site_parse(text.bytes, text.length, "made", &site, &error) != 0) {
        (void)fprintf(stderr, "bench_page: %s\n", error.text);
        return 1;
    }
    make_noise(maker.noise);
    int result = make(arguments[1], &maker, site, &text, &error);
    if (result != 0) {
        (void)fprintf(stderr, "bench_page: %s\n", error.text);
    }
    free(maker.noise);
    text_free(&text);
    site_free(site);
    return result == 0 ? 0 : 1;
}
