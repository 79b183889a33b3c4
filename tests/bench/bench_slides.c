/* Time slides of a 12-node night with 5,000 onsets (what it costs), and of nights without any cause
 * (whether what is stated is true). bench_slides [NIGHTS]. Must never run as part of the tests. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/correlate/slides.h"
#include "common/clock.h"
#include "common/site.h"
#include "node/world/rng.h"

#define NODES 12
#define NIGHT_NS INT64_C(28800000000000)
#define ONSETS_MAX SLIDES_ONSETS_MAX

static struct site_room rooms[NODES];
static struct site_door doors[NODES];
static struct site_node nodes[NODES];
static struct slides_onset onsets[ONSETS_MAX];

/* Four by three rooms of 4 m, doors between neighbours along each row and up the first column. */
static struct site build_site(void)
{
    struct site site = {.room_count = NODES, .rooms = rooms, .node_count = NODES, .nodes = nodes};
    for (size_t i = 0; i < NODES; i++) {
        double x = 4.0 * (double)(i % 4);
        double y = 4.0 * (double)(i / 4);
        const double corners[4][2] = {{x, y}, {x + 4, y}, {x + 4, y + 4}, {x, y + 4}};
        rooms[i].corner_count = 4;
        memcpy(rooms[i].outline_m, corners, sizeof corners);
        nodes[i].room = i;
        nodes[i].position_m[0] = x + 2.0;
        nodes[i].position_m[1] = y + 2.0;
        if (i % 4 > 0) {
            doors[site.door_count++] = (struct site_door){{i - 1, i}, {x, y + 2.0}};
        } else if (i >= 4) {
            doors[site.door_count++] = (struct site_door){{i - 4, i}, {x + 2.0, y}};
        }
    }
    site.doors = doors;
    return site;
}

static int by_time(const void *a, const void *b)
{
    const struct slides_onset *left = a;
    const struct slides_onset *right = b;
    return (left->onset_ns > right->onset_ns) - (left->onset_ns < right->onset_ns);
}

/* A fifth of it motion, a tenth temperature, the rest half magnetic and half electric. */
static void draw_night(uint64_t key, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        double kind = rng_uniform(key, 3 * i);
        bool motion = kind < 0.2;
        bool slow = !motion && kind < 0.3;
        onsets[i] = (struct slides_onset){
            .onset_ns = (int64_t)(rng_uniform(key, 3 * i + 1) * (double)NIGHT_NS),
            .sd_ns = motion ? 300000000 : (slow ? 500000000 : 3000000),
            .clock_sd_ns = 1000000,
            .node = (uint32_t)(rng_uniform(key, 3 * i + 2) * NODES),
            .traits =
                (uint8_t)(motion ? SLIDES_MOTION
                                 : (slow ? SLIDES_SLOW : (kind < 0.65 ? SLIDES_MAGNETIC : 0)))};
    }
    qsort(onsets, count, sizeof onsets[0], by_time);
    for (size_t i = 0; i < count; i++) {
        onsets[i].id = (int64_t)i + 1;
    }
}

static int slide(struct layout *layout, size_t count, size_t slides, struct slides_result *result)
{
    int64_t live_from_ns[NODES] = {0};
    struct slides_night night = {layout, onsets, count, live_from_ns, NIGHT_NS, slides, NULL};
    struct error error;
    if (slides_run(&night, result, &error)) {
        fprintf(stderr, "bench_slides: %s\n", error.text);
        return -1;
    }
    return 0;
}

static int measure_cost(struct layout *layout)
{
    struct slides_result result;
    draw_night(rng_key(1, 0, 0), 5000);
    struct clock_source clock = clock_system();
    int64_t start_ns = clock.mono_ns(clock.context);
    if (slide(layout, 5000, SLIDES_LEAST, &result)) {
        return -1;
    }
    double took_s = (double)(clock.mono_ns(clock.context) - start_ns) * 1e-9;
    printf("12 nodes, 5000 onsets, %zu slides, %zu coincidences: %.3f s (%.0f ns an onset)\n",
           result.slides, result.count, took_s, took_s / 5e6 * 1e9);
    slides_result_free(&result);
    return 0;
}

static int by_value(const void *a, const void *b)
{
    double left = *(const double *)a;
    double right = *(const double *)b;
    return (left > right) - (left < right);
}

/* Nights of chance alone: how many findings below each stated rate, and the best p-values. */
static int measure_truth(struct layout *layout, size_t nights, size_t count)
{
    static const double rates[] = {0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0};
    size_t below[7] = {0};
    double *best = calloc(nights, sizeof *best);
    for (size_t night = 0; night < nights; night++) {
        struct slides_result result;
        draw_night(rng_key(2, night, 0), count);
        if (!best || slide(layout, count, SLIDES_LEAST, &result)) {
            free(best);
            return -1;
        }
        best[night] = 1.0;
        for (size_t i = 0; i < result.count; i++) {
            const struct chance *chance = &result.findings[i].chance;
            best[night] = fmin(best[night], chance->p_value);
            for (size_t r = 0; r < 7; r++) {
                below[r] += chance->per_night < rates[r];
            }
        }
        slides_result_free(&result);
    }
    printf("%zu nights of %zu onsets without a cause; findings stated rarer than r, and as many as"
           " there should be:\n",
           nights, count);
    for (size_t r = 0; r < 7; r++) {
        double expected = rates[r] * (double)nights;
        printf("  r %-5g %6zu  expected %7.1f +- %.1f\n", rates[r], below[r], expected,
               1.96 * sqrt(expected));
    }
    qsort(best, nights, sizeof *best, by_value);
    double distance = 0.0;
    for (size_t i = 0; i < nights; i++) {
        distance = fmax(distance, fabs(best[i] - (double)(i + 1) / (double)nights));
        distance = fmax(distance, fabs(best[i] - (double)i / (double)nights));
    }
    printf(
        "  p-values of each night's rarest: Kolmogorov-Smirnov distance %.4f (5 %% limit %.4f)\n",
        distance, 1.358 / sqrt((double)nights));
    free(best);
    return 0;
}

int main(int argc, char **argv)
{
    size_t nights = argc > 1 ? strtoul(argv[1], NULL, 10) : 0;
    struct site site = build_site();
    struct layout *layout = NULL;
    struct error error;
    if (layout_new(&site, &layout, &error)) {
        fprintf(stderr, "bench_slides: %s\n", error.text);
        return 1;
    }
    int status = measure_cost(layout);
    if (status == 0 && nights > 0) {
        status = measure_truth(layout, nights, 150);
    }
    layout_free(layout);
    return status ? 1 : 0;
}
