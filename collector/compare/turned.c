/* Events round the clock, a window that slides over them, and turned copies.
 * Must never use another seed than its constant. Called by record/compare. */
#include "collector/compare/turned.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/model/splitmix.h"

/* A p-value that this many made is exact enough to stop at. */
#define ENOUGH 50

struct event {
    double clock_s;
    uint32_t night;
};

struct ring {
    struct event *events; /* by clock, each once more a day later */
    size_t count;         /* of different ones */
};

static int by_clock(const void *left, const void *right)
{
    const struct event *a = left;
    const struct event *b = right;
    if (a->clock_s != b->clock_s) {
        return a->clock_s < b->clock_s ? -1 : 1;
    }
    return (a->night > b->night) - (a->night < b->night);
}

/* `parts` are how far each night is turned, 0 to 1 of its length; NULL: not at all. */
static void lay(struct ring *ring, const struct turned_night *nights, size_t count,
                const double *parts)
{
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < nights[i].count; j++) {
            double after_s = nights[i].after_s[j];
            if (parts) {
                after_s = fmod(after_s + parts[i] * nights[i].length_s, nights[i].length_s);
            }
            ring->events[n++] =
                (struct event){fmod(nights[i].start_clock_s + after_s, TURNED_DAY_S), (uint32_t)i};
        }
    }
    ring->count = n;
    qsort(ring->events, n, sizeof *ring->events, by_clock);
    for (size_t i = 0; i < n; i++) {
        ring->events[n + i] = ring->events[i];
        ring->events[n + i].clock_s += TURNED_DAY_S;
    }
}

/* The window with most nights; of several the one with its events closest together. */
static void find_best(const struct ring *ring, double window_s, struct turned_result *best)
{
    uint32_t in[TURNED_NIGHTS_MAX] = {0};
    size_t nights = 0;
    size_t first = 0;
    *best = (struct turned_result){.p_value = 1.0};
    for (size_t last = 0; last < 2 * ring->count; last++) {
        nights += in[ring->events[last].night]++ == 0;
        while (ring->events[last].clock_s - ring->events[first].clock_s > window_s ||
               last - first >= ring->count || in[ring->events[first].night] > 1) {
            nights -= --in[ring->events[first++].night] == 0;
        }
        double span_s = ring->events[last].clock_s - ring->events[first].clock_s;
        if (nights > best->nights ||
            (nights == best->nights && span_s < best->to_clock_s - best->from_clock_s)) {
            best->nights = nights;
            best->from_clock_s = ring->events[first].clock_s;
            best->to_clock_s = ring->events[last].clock_s;
            best->which = 0;
            for (size_t i = first; i <= last; i++) {
                best->which |= UINT64_C(1) << ring->events[i].night;
            }
        }
    }
    best->from_clock_s = fmod(best->from_clock_s, TURNED_DAY_S);
    best->to_clock_s = fmod(best->to_clock_s, TURNED_DAY_S);
}

static void turn_all(struct ring *ring, const struct turned_night *nights, size_t count,
                     double window_s, struct turned_result *result)
{
    double parts[TURNED_NIGHTS_MAX];
    struct turned_result turned;
    uint64_t random = SPLITMIX_STEP;
    size_t as_good = 0;
    while (result->turns < TURNED_TIMES && as_good < ENOUGH) {
        for (size_t i = 0; i < count; i++) {
            parts[i] = splitmix_part(&random);
        }
        lay(ring, nights, count, parts);
        find_best(ring, window_s, &turned);
        as_good += turned.nights >= result->nights;
        result->turns++;
    }
    result->p_value = as_good == ENOUGH ? (double)ENOUGH / (double)result->turns
                                        : (double)(1 + as_good) / (double)(1 + TURNED_TIMES);
}

int turned_test(const struct turned_night *nights, size_t count, double window_s,
                struct turned_result *result, struct error *error)
{
    size_t events = 0;
    *result = (struct turned_result){.p_value = 1.0};
    if (count > TURNED_NIGHTS_MAX || !(window_s > 0.0 && window_s < TURNED_DAY_S)) {
        return error_set(error, ERROR_RANGE, "compare: %zu nights, windows of %g s", count,
                         window_s);
    }
    for (size_t i = 0; i < count; i++) {
        events += nights[i].count;
    }
    if (events == 0) {
        return 0;
    }
    struct ring ring = {.events = calloc(2 * events, sizeof *ring.events)};
    if (!ring.events) {
        return error_set(error, ERROR_MEMORY, "compare: out of memory");
    }
    lay(&ring, nights, count, NULL);
    find_best(&ring, window_s, result);
    if (result->nights >= 2) {
        turn_all(&ring, nights, count, window_s, result);
    }
    free(ring.events);
    return 0;
}
