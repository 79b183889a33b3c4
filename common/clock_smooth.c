/* Two filters, one from each end of the night, joined where they meet (D. C. Fraser, J. E. Potter,
 * "The optimum linear smoother as a combination of two optimum linear filters", IEEE Trans. AC 14,
 * 1969, from memory). Must never read a clock.
 * Called by the re-fit. */
#include "common/clock_smooth.h"

#include <math.h>
#include <stdlib.h>

#include "common/clock_track.h"

/* Far enough from the ends of int64 that sums of a few such times do not overflow. */
#define TIME_LIMIT_NS (INT64_C(1) << 61)
#define APART_MOST_NS INT64_C(60000000000)
#define BURST_MOST_NS INT64_C(2000000000)
#define DELAY_MOST_NS INT64_C(10000000000)
#define DELAY_LEAST_NS (-INT64_C(1000000)) /* what a crystal's rate makes of none in a burst */
#define AROUND 32 /* bursts on either side of which the least delay is taken */

struct knot {
    struct clock_exchange exchange;
    struct clock_point point;
    double least_ns;
    size_t run;                /* rises where the time server was set anew */
    struct clock_track before; /* what this exchange and all before it say */
    struct clock_track after;  /* this and all after it */
};

struct clock_smooth {
    size_t count;
    int64_t node_origin_ns;
    int64_t offset_origin_ns;
    struct knot knots[];
};

/* Question and answer may come from two exchanges of a burst, in either order. */
static bool is_possible(const struct clock_exchange *exchange)
{
    const int64_t times[] = {exchange->t1_ns, exchange->t2_ns, exchange->t3_ns, exchange->t4_ns};
    for (int i = 0; i < 4; i++) {
        if (times[i] <= -TIME_LIMIT_NS || times[i] >= TIME_LIMIT_NS) {
            return false;
        }
    }
    int64_t delay_ns = clock_exchange_delay_ns(exchange);
    return llabs(exchange->t4_ns - exchange->t1_ns) <= APART_MOST_NS &&
           exchange->t3_ns - exchange->t2_ns >= -BURST_MOST_NS && delay_ns >= DELAY_LEAST_NS &&
           delay_ns <= DELAY_MOST_NS;
}

static int by_node_time(const void *left, const void *right)
{
    int64_t a = clock_point_middle_ns(&((const struct knot *)left)->exchange);
    int64_t b = clock_point_middle_ns(&((const struct knot *)right)->exchange);
    return (a > b) - (a < b);
}

static void take_exchanges(struct clock_smooth *smooth, const struct clock_exchange *exchanges,
                           size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (is_possible(&exchanges[i])) {
            smooth->knots[smooth->count++].exchange = exchanges[i];
        }
    }
    qsort(smooth->knots, smooth->count, sizeof smooth->knots[0], by_node_time);
    size_t kept = 0;
    for (size_t i = 0; i < smooth->count; i++) {
        if (kept == 0 || clock_point_middle_ns(&smooth->knots[i].exchange) >
                             clock_point_middle_ns(&smooth->knots[kept - 1].exchange)) {
            smooth->knots[kept++] = smooth->knots[i];
        }
    }
    smooth->count = kept;
}

static void make_points(struct clock_smooth *smooth, int64_t crystal_ppb)
{
    const struct clock_exchange *first = &smooth->knots[0].exchange;
    smooth->node_origin_ns = clock_point_middle_ns(first);
    smooth->offset_origin_ns = clock_exchange_offset_ns(first);
    for (size_t i = 0; i < smooth->count; i++) {
        struct knot *knot = &smooth->knots[i];
        knot->point =
            clock_point_make(&knot->exchange, smooth->node_origin_ns, smooth->offset_origin_ns);
        knot->run = i == 0 ? 0 : knot[-1].run;
        if (i > 0 && clock_exchange_contradicts(&knot[-1].exchange, &knot->exchange, crystal_ppb)) {
            knot->run++;
        }
    }
}

/* Of the knots around and of the same run; the rate that is taken out of the delays is that of the
 * filter from the front, where it has come by. */
static void take_least(struct clock_smooth *smooth, size_t at)
{
    struct clock_point points[2 * AROUND + 1];
    struct knot *knot = &smooth->knots[at];
    size_t count = 0;
    size_t own = 0;
    size_t from = at > AROUND ? at - AROUND : 0;
    for (size_t i = from; i <= at + AROUND && i < smooth->count; i++) {
        if (smooth->knots[i].run == knot->run) {
            own = i == at ? count : own;
            points[count++] = smooth->knots[i].point;
        }
    }
    knot->least_ns = clock_points_take_low(points, count, knot->before.rate);
    knot->point.excess_ns = points[own].excess_ns;
}

static void run_filters(struct clock_smooth *smooth, double crystal)
{
    struct knot *knots = smooth->knots;
    for (size_t i = 0; i < smooth->count; i++) {
        if (i == 0 || knots[i].run != knots[i - 1].run) {
            clock_track_begin(&knots[i].before, &knots[i].point, crystal);
            continue;
        }
        knots[i].before = knots[i - 1].before;
        clock_track_move(&knots[i].before, knots[i].point.x_ns);
        clock_track_correct(&knots[i].before, &knots[i].point);
    }
    for (size_t i = smooth->count; i-- > 0;) {
        if (i + 1 == smooth->count || knots[i].run != knots[i + 1].run) {
            clock_track_begin(&knots[i].after, &knots[i].point, crystal);
            continue;
        }
        knots[i].after = knots[i + 1].after;
        clock_track_move(&knots[i].after, knots[i].point.x_ns);
        clock_track_correct(&knots[i].after, &knots[i].point);
    }
}

int clock_smooth_new(const struct clock_exchange *exchanges, size_t count, int64_t crystal_ppb,
                     struct clock_smooth **out, struct error *error)
{
    struct clock_smooth *smooth = calloc(1, sizeof *smooth + count * sizeof smooth->knots[0]);
    if (!smooth) {
        return error_set(error, ERROR_MEMORY, "clock: out of memory");
    }
    take_exchanges(smooth, exchanges, count);
    if (smooth->count == 0) {
        free(smooth);
        return error_set(error, ERROR_RANGE, "clock: no exchange to go by");
    }
    make_points(smooth, crystal_ppb);
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < smooth->count; i++) {
            take_least(smooth, i);
        }
        run_filters(smooth, (double)crystal_ppb * 1e-9);
    }
    *out = smooth;
    return 0;
}

void clock_smooth_free(struct clock_smooth *smooth)
{
    free(smooth);
}

size_t clock_smooth_count(const struct clock_smooth *smooth)
{
    return smooth->count;
}

/* Both say the same from different exchanges: each weighs by what it knows. The gain is
 * P1 (P1 + P2)^-1. */
static void join(struct clock_track *track, const struct clock_track *other)
{
    double sum_oo = track->p_oo + other->p_oo;
    double sum_or = track->p_or + other->p_or;
    double sum_rr = track->p_rr + other->p_rr;
    double determinant = sum_oo * sum_rr - sum_or * sum_or;
    if (!(determinant > 0)) {
        return;
    }
    double k_oo = (track->p_oo * sum_rr - track->p_or * sum_or) / determinant;
    double k_or = (track->p_or * sum_oo - track->p_oo * sum_or) / determinant;
    double k_ro = (track->p_or * sum_rr - track->p_rr * sum_or) / determinant;
    double k_rr = (track->p_rr * sum_oo - track->p_or * sum_or) / determinant;
    double offset = other->offset_ns - track->offset_ns;
    double rate = other->rate - track->rate;
    double bias = other->bias_offset_ns - track->bias_offset_ns;
    double bias_rate = other->bias_rate - track->bias_rate;
    track->offset_ns += k_oo * offset + k_or * rate;
    track->rate += k_ro * offset + k_rr * rate;
    track->bias_offset_ns += k_oo * bias + k_or * bias_rate;
    track->bias_rate += k_ro * bias + k_rr * bias_rate;
    double p_oo = track->p_oo - k_oo * track->p_oo - k_or * track->p_or;
    double p_or = track->p_or - k_oo * track->p_or - k_or * track->p_rr;
    track->p_rr -= k_ro * track->p_or + k_rr * track->p_rr;
    track->p_oo = p_oo;
    track->p_or = p_or;
}

/* How many knots lie at or before node_ns. */
static size_t count_before(const struct clock_smooth *smooth, double x_ns)
{
    size_t low = 0;
    size_t high = smooth->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (smooth->knots[middle].point.x_ns <= x_ns) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

void clock_smooth_fit(const struct clock_smooth *smooth, int64_t node_ns, struct clock_fit *fit)
{
    double x_ns = (double)(node_ns - smooth->node_origin_ns);
    size_t next = count_before(smooth, x_ns);
    const struct knot *left = next > 0 ? &smooth->knots[next - 1] : NULL;
    /* There is one knot at least, so one of the two is there. */
    const struct knot *right = !left || next < smooth->count ? &smooth->knots[next] : NULL;
    if (left && right && left->run != right->run) {
        right = NULL;
    }
    struct clock_track track = left ? left->before : right->after;
    double least_ns = left ? left->least_ns : right->least_ns;
    clock_track_move(&track, x_ns);
    if (left && right) {
        struct clock_track later = right->after;
        clock_track_move(&later, x_ns);
        join(&track, &later);
        least_ns = fmin(least_ns, right->least_ns);
    }
    clock_track_tell(&track, least_ns, smooth->node_origin_ns, smooth->offset_origin_ns, fit);
    fit->ref_node_ns = node_ns;
}
