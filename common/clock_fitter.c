/* The best stamps of each burst, over a sliding span.
 * Must never read a clock, nor keep what contradicts what came later.
 * Called by the node's time client, and by simulated nodes; the line is made in clock_line.c. */
#include "common/clock_fit.h"

#include <math.h>
#include <string.h>

#define DELAY_MOST_NS INT64_C(10000000000)
#define CLOCK_SET_SLACK_NS 1e6

void clock_fitter_init(struct clock_fitter *fitter, int64_t span_ns, int64_t growth_ppb)
{
    *fitter = (struct clock_fitter){.span_ns = span_ns, .default_growth_ppb = growth_ppb};
}

static bool exchange_valid(const struct clock_exchange *exchange)
{
    int64_t delay = clock_exchange_delay_ns(exchange);
    return exchange->t4_ns >= exchange->t1_ns && exchange->t3_ns >= exchange->t2_ns && delay >= 0 &&
           delay <= DELAY_MOST_NS;
}

bool clock_exchange_contradicts(const struct clock_exchange *older,
                                const struct clock_exchange *newer, int64_t crystal_ppb)
{
    double apart =
        fabs((double)(clock_exchange_offset_ns(newer) - clock_exchange_offset_ns(older)));
    double halves = (double)(clock_exchange_delay_ns(newer) + clock_exchange_delay_ns(older)) / 2;
    double drift = 2e-9 * (double)crystal_ppb * fabs((double)(newer->t4_ns - older->t4_ns));
    return apart > halves + drift + CLOCK_SET_SLACK_NS;
}

static void forget_first(struct clock_fitter *fitter, size_t count)
{
    fitter->count -= count;
    memmove(fitter->best, fitter->best + count, fitter->count * sizeof fitter->best[0]);
}

/* The question that came soonest and the answer that came soonest. A delay falls on one of the two
 * at a time, so that together they have less of it than the best exchange has. */
static bool take_best(const struct clock_exchange *exchanges, size_t count,
                      struct clock_exchange *best)
{
    bool any = false;
    for (size_t i = 0; i < count; i++) {
        const struct clock_exchange *one = &exchanges[i];
        if (!exchange_valid(one)) {
            continue;
        }
        if (!any || one->t2_ns - one->t1_ns < best->t2_ns - best->t1_ns) {
            best->t1_ns = one->t1_ns;
            best->t2_ns = one->t2_ns;
        }
        if (!any || one->t4_ns - one->t3_ns < best->t4_ns - best->t3_ns) {
            best->t3_ns = one->t3_ns;
            best->t4_ns = one->t4_ns;
        }
        any = true;
    }
    return any;
}

bool clock_fitter_add_burst(struct clock_fitter *fitter, const struct clock_exchange *exchanges,
                            size_t count)
{
    struct clock_exchange best = {0};
    if (!take_best(exchanges, count, &best)) {
        return false;
    }
    if (fitter->count > 0 && clock_exchange_contradicts(&fitter->best[fitter->count - 1], &best,
                                                        fitter->default_growth_ppb)) {
        fitter->count = 0;
    }
    size_t old = fitter->count == CLOCK_FITTER_POINTS ? 1 : 0;
    while (old < fitter->count && best.t4_ns - fitter->best[old].t4_ns > fitter->span_ns) {
        old++;
    }
    forget_first(fitter, old);
    fitter->best[fitter->count++] = best;
    return true;
}

size_t clock_fitter_recent(const struct clock_fitter *fitter, struct clock_exchange *exchanges,
                           size_t size)
{
    size_t count = fitter->count < size ? fitter->count : size;
    for (size_t i = 0; i < count; i++) {
        exchanges[i] = fitter->best[fitter->count - count + i];
    }
    return count;
}
