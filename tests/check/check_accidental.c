/* Whether what is told live is true: seeded nights of chance alone through the correlator, findings
 * counted against what they said of themselves. The intervals are Poisson's; the limit of the
 * Kolmogorov-Smirnov distance is the asymptotic one, 1.95 / sqrt(n) at 0.1 % (from memory).
 * Must never take longer than a few seconds: bench_chance has the long run. */
#include "tests/unit/test.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/correlator.h"
#include "collector/correlate/poisson.h"
#include "node/world/rng.h"

#define NODES 6
#define NIGHTS 40
#define NIGHT_S 28800.0
#define FINDINGS_MAX 4000

static struct site_room rooms[NODES];
static struct site_door doors[NODES];
static struct site_node nodes[NODES];
static double stated[FINDINGS_MAX];
static size_t stated_count;
static double rarest;

/* Two rows of three rooms. */
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
        double x = 4.0 * (double)(i % 3);
        double y = 4.0 * (double)(i / 3);
        const double corners[4][2] = {{x, y}, {x + 4, y}, {x + 4, y + 4}, {x, y + 4}};
        rooms[i].corner_count = 4;
        memcpy(rooms[i].outline_m, corners, sizeof corners);
        nodes[i].room = i;
        nodes[i].position_m[0] = x + 1.0 + 2.0 * rng_uniform(3, i);
        nodes[i].position_m[1] = y + 1.0 + 2.0 * rng_uniform(4, i);
        doors[i] = i % 3 > 0 ? (struct site_door){{i - 1, i}, {x, y + 2.0}}
                             : (struct site_door){{0, 3}, {2.0, 4.0}};
    }
    site.door_count = NODES;
    return site;
}

static void ignore(void *context, const struct disturbance *disturbance)
{
    (void)context;
    (void)disturbance;
}

static void note(void *context, const struct coincidence *coincidence)
{
    (void)context;
    if (coincidence->final && stated_count < FINDINGS_MAX) {
        stated[stated_count++] = coincidence->chance.per_night;
        rarest = fmin(rarest, coincidence->chance.p_value);
    }
}

static void push_stream(struct correlator *correlator, uint64_t key, uint32_t node,
                        enum quantity quantity)
{
    struct error error;
    double at_s = 0.0;
    for (uint64_t i = 0;; i++) {
        at_s -= 7200.0 * log(rng_uniform(key, i));
        if (at_s >= NIGHT_S) {
            return;
        }
        struct disturbance one = {.node = node,
                                  .quantity = quantity,
                                  .onset_ns = llround(at_s * 1e9),
                                  .pick_sd_ns = quantity == QUANTITY_MOTION ? 300000000 : 5000000,
                                  .clock_sd_ns = 1000000,
                                  .peak_score = 6.0,
                                  .threshold = 5.0,
                                  .baseline_scale = 1.0,
                                  .peak_value = 6.0};
        (void)snprintf(one.quantity_text, sizeof one.quantity_text, "%s", quantity_name(quantity));
        one.peak_ns = one.onset_ns;
        one.end_ns = one.onset_ns + 100000000;
        one.closed_ns = one.end_ns;
        assert_int_equal(correlator_open(correlator, &one, &error), 0);
    }
}

static void run_night(const struct site *site, uint64_t key)
{
    static const enum quantity quantities[] = {QUANTITY_MAGNETIC, QUANTITY_ELECTRIC,
                                               QUANTITY_TEMPERATURE, QUANTITY_MOTION};
    const struct correlator_sink sink = {
        .disturbance = ignore, .disturbance_ended = ignore, .coincidence = note};
    struct correlator *correlator = NULL;
    struct error error;
    assert_int_equal(correlator_new(site, &sink, &correlator, &error), 0);
    for (uint32_t node = 0; node < NODES; node++) {
        for (size_t i = 0; i < 4; i++) {
            assert_int_equal(
                correlator_watch(correlator, node, quantity_name(quantities[i]), 0, &error), 0);
            push_stream(correlator, rng_key(key, node, i), node, quantities[i]);
        }
    }
    assert_int_equal(correlator_finish(correlator, &error), 0);
    correlator_free(correlator);
}

static int by_value(const void *a, const void *b)
{
    double left = *(const double *)a;
    double right = *(const double *)b;
    return (left > right) - (left < right);
}

static void what_is_stated_to_come_so_often_comes_so_often(void **state)
{
    (void)state;
    static const double rates[] = {0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0};
    const struct site site = build_site();
    double p_values[NIGHTS];
    for (size_t night = 0; night < NIGHTS; night++) {
        rarest = 1.0;
        run_night(&site, rng_key(9, night, 0));
        p_values[night] = rarest;
    }
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        uint64_t count = 0;
        double low;
        double high;
        for (size_t k = 0; k < stated_count; k++) {
            count += stated[k] <= rates[i];
        }
        poisson_limits(count, 0.99, &low, &high);
        print_message("at most %.2f a night: came %.3f times (%.3f to %.3f)\n", rates[i],
                      (double)count / NIGHTS, low / NIGHTS, high / NIGHTS);
        assert_true(low <= rates[i] * NIGHTS && high >= rates[i] * NIGHTS);
    }
    qsort(p_values, NIGHTS, sizeof p_values[0], by_value);
    double off = 0.0;
    for (size_t i = 0; i < NIGHTS; i++) {
        off = fmax(off, fabs(p_values[i] - (double)i / NIGHTS));
        off = fmax(off, fabs(p_values[i] - (double)(i + 1) / NIGHTS));
    }
    print_message("rarest of each night: p off even by at most %.3f\n", off);
    assert_true(off < 1.95 / sqrt(NIGHTS));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_stated_to_come_so_often_comes_so_often),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
