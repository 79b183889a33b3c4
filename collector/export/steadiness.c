/* Exchanges -> an even row of phases, a minute apart -> deviations.
 * Must never read a clock. Called by review_clock.c and report_tables.c. */
#include "collector/export/steadiness.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/night/reader_exchanges.h"
#include "common/allan.h"
#include "common/clock.h"

#define APART_NS (60 * NS_PER_S)
#define HOLE_NS (NS_PER_S * 5 * 60)
#define CRYSTAL_PPB 100000
#define LEAST_SPANS 4 /* of so many a deviation is told */
#define NIGHT_MOST ((size_t)7 * 24 * 60)

static const struct {
    size_t minutes;
    const char *text;
} spans[STEADINESS_SPANS] = {{1, "1 min"}, {10, "10 min"}, {60, "1 h"}};

static int64_t middle_ns(const struct clock_exchange *exchange)
{
    return exchange->t1_ns + (exchange->t4_ns - exchange->t1_ns) / 2;
}

static int by_time(const void *left, const void *right)
{
    int64_t a = middle_ns(left);
    int64_t b = middle_ns(right);
    return (a > b) - (a < b);
}

/* Whether the two are of one line that can be followed. */
static bool belong(const struct clock_exchange *a, const struct clock_exchange *b)
{
    return middle_ns(b) - middle_ns(a) <= HOLE_NS && !clock_exchange_contradicts(a, b, CRYSTAL_PPB);
}

/* Phases a minute apart between `first` and `last`, by straight lines; returns how many. */
static size_t make_phases(const struct clock_exchange *first, const struct clock_exchange *last,
                          double *phases_s)
{
    const struct clock_exchange *at = first;
    int64_t origin_ns = clock_exchange_offset_ns(first);
    size_t count = 0;
    for (int64_t t_ns = middle_ns(first); t_ns <= middle_ns(last) && count < NIGHT_MOST;
         t_ns += APART_NS) {
        while (at + 1 < last && middle_ns(at + 1) <= t_ns) {
            at++;
        }
        const struct clock_exchange *next = at < last ? at + 1 : at;
        double from = (double)(clock_exchange_offset_ns(at) - origin_ns);
        double to = (double)(clock_exchange_offset_ns(next) - origin_ns);
        double whole = (double)(middle_ns(next) - middle_ns(at));
        double part = whole > 0 ? (double)(t_ns - middle_ns(at)) / whole : 0;
        phases_s[count++] = (from + part * (to - from)) * 1e-9;
    }
    return count;
}

static void take_run(const struct clock_exchange *first, const struct clock_exchange *last,
                     double *phases_s, struct steadiness *steadiness)
{
    size_t count = make_phases(first, last, phases_s);
    if (count <= steadiness->minutes) {
        return;
    }
    steadiness->minutes = count;
    for (size_t i = 0; i < STEADINESS_SPANS; i++) {
        size_t m = spans[i].minutes;
        steadiness->known[i] =
            count > LEAST_SPANS * m &&
            allan_deviation(ALLAN_OVERLAPPED, phases_s, count, (double)APART_NS * 1e-9, m,
                            &steadiness->deviation[i]) == 0;
    }
}

static void take_boot(struct night_boot_exchanges *boot, double *phases_s,
                      struct steadiness *steadiness)
{
    struct clock_exchange *all = boot->exchanges;
    qsort(all, boot->count, sizeof *all, by_time);
    size_t first = 0;
    for (size_t i = 1; i <= boot->count; i++) {
        if (i == boot->count || !belong(&all[i - 1], &all[i])) {
            take_run(&all[first], &all[i - 1], phases_s, steadiness);
            first = i;
        }
    }
}

int steadiness_read(struct night_reader *reader, size_t node_count, struct steadiness *nodes,
                    struct error *error)
{
    struct night_exchanges exchanges = {0};
    double *phases_s = calloc(NIGHT_MOST, sizeof *phases_s);
    memset(nodes, 0, node_count * sizeof *nodes);
    int result = phases_s ? night_read_exchanges(reader, node_count, &exchanges, error)
                          : error_set(error, ERROR_MEMORY, "steadiness: out of memory");
    for (size_t i = 0; result == 0 && i < exchanges.count; i++) {
        take_boot(&exchanges.boots[i], phases_s, &nodes[exchanges.boots[i].node]);
    }
    night_exchanges_free(&exchanges);
    free(phases_s);
    return result;
}

void steadiness_say(const struct steadiness *steadiness, char text[STEADINESS_TEXT_SIZE])
{
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < STEADINESS_SPANS; i++) {
        if (steadiness->known[i] && used < STEADINESS_TEXT_SIZE) {
            used += (size_t)snprintf(text + used, STEADINESS_TEXT_SIZE - used, "%s%.2g ppm over %s",
                                     used > 0 ? ", " : "", steadiness->deviation[i] * 1e6,
                                     spans[i].text);
        }
    }
}
