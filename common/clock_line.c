/* The line through the best stamps: a filter over offset and rate, whose crystal wanders with the
 * temperature, and an uncertainty that holds the true error.
 * Must never read a clock, nor pass a time stamp through a double: only differences.
 * Called by the node's time client, and by simulated nodes. */
#include "common/clock_fit.h"

#include <math.h>

#define FLOOR_NS 1000.0
/* What reading the stamps costs even on the fastest path. */
#define STAMP_SD_NS 3000.0
/* The rate walks by so much a root second: 1.7 ppm in half an hour, as a tuning fork 10 degrees
 * from its turning point does when its room changes by 2. Common practice, no source. */
#define WANDER 4e-8
#define HORIZON_NS 3600e9
#define UNCERTAINTY_MOST_NS 1e18
#define PASSES 2

/* One kept burst, relative to the newest. */
struct point {
    double x_ns;      /* node time */
    double y_ns;      /* offset */
    double delay_ns;  /* there and back */
    double excess_ns; /* above the least of all */
    double apart_ns;  /* node time from question to answer, of which the rate is no delay */
};

/* The state at the node time x_ns. bias is what the estimate is off if every delay above the least
 * fell on the same way: delays do not average out. */
struct track {
    double x_ns;
    double offset_ns, rate;
    double p_oo, p_or, p_rr; /* variances, ns^2, ns, 1 */
    double bias_offset_ns, bias_rate;
};

static int64_t middle_ns(const struct clock_exchange *exchange)
{
    return exchange->t1_ns + (exchange->t4_ns - exchange->t1_ns) / 2;
}

static void make_points(const struct clock_fitter *fitter, struct point *points)
{
    const struct clock_exchange *newest = &fitter->best[fitter->count - 1];
    int64_t newest_offset_ns = clock_exchange_offset_ns(newest);
    for (size_t i = 0; i < fitter->count; i++) {
        const struct clock_exchange *exchange = &fitter->best[i];
        points[i] = (struct point){
            .x_ns = (double)(middle_ns(exchange) - middle_ns(newest)),
            .y_ns = (double)(clock_exchange_offset_ns(exchange) - newest_offset_ns),
            .delay_ns = (double)clock_exchange_delay_ns(exchange),
            .apart_ns = (double)(exchange->t4_ns - exchange->t1_ns),
        };
    }
}

/* The least delay, once the crystal's rate is taken out of the delays. Of `count` waiting times of
 * mean m the least is m / count long on the average: so much is hidden in the least. */
static double take_least(struct point *points, size_t count, double rate)
{
    double least = INFINITY;
    double sum = 0;
    for (size_t i = 0; i < count; i++) {
        double delay = fmax(0, points[i].delay_ns + rate * points[i].apart_ns);
        points[i].excess_ns = delay;
        least = fmin(least, delay);
        sum += delay;
    }
    double number = (double)count;
    double hidden = count > 1 ? (sum - number * least) / (number * (number - 1)) : 0;
    for (size_t i = 0; i < count; i++) {
        points[i].excess_ns += hidden - least;
    }
    return least;
}

static void predict(struct track *track, double x_ns)
{
    double ns = x_ns - track->x_ns;
    double away = fabs(ns);
    double q = WANDER * WANDER * 1e-9; /* a ns */
    track->offset_ns += track->rate * ns;
    track->bias_offset_ns += track->bias_rate * ns;
    track->p_oo += 2 * ns * track->p_or + ns * ns * track->p_rr + q * away * away * away / 3;
    track->p_or += ns * track->p_rr + q * ns * away / 2;
    track->p_rr += q * away;
    track->x_ns = x_ns;
}

/* An excess of delay, if all of it lay on one way, moves the offset by half of it. */
static void update(struct track *track, const struct point *point)
{
    double half = point->excess_ns / 2;
    double variance = track->p_oo + STAMP_SD_NS * STAMP_SD_NS + half * half;
    double gain_o = track->p_oo / variance;
    double gain_r = track->p_or / variance;
    double off = point->y_ns - track->offset_ns;
    track->offset_ns += gain_o * off;
    track->rate += gain_r * off;
    double bias = half - track->bias_offset_ns;
    track->bias_offset_ns += gain_o * bias;
    track->bias_rate += gain_r * bias;
    track->p_rr -= gain_r * track->p_or;
    track->p_or -= gain_o * track->p_or;
    track->p_oo -= gain_o * track->p_oo;
}

static void run_track(const struct point *points, size_t count, double crystal, struct track *track)
{
    double half = points[0].excess_ns / 2;
    *track = (struct track){.x_ns = points[0].x_ns,
                            .offset_ns = points[0].y_ns,
                            .p_oo = STAMP_SD_NS * STAMP_SD_NS + half * half,
                            .p_rr = crystal * crystal,
                            .bias_offset_ns = half};
    for (size_t i = 1; i < count; i++) {
        predict(track, points[i].x_ns);
        update(track, &points[i]);
    }
}

/* What uneven ways may hide: half the least round trip and the bias, evenly spread (GUM, JCGM
 * 100:2008, 4.3.7: a / sqrt(3)). */
static double hidden_sd_ns(double least_ns, double bias_ns)
{
    return (least_ns / 2 + fabs(bias_ns)) / sqrt(3);
}

void clock_fitter_line(const struct clock_fitter *fitter, int64_t now_node_ns,
                       struct clock_fit *fit)
{
    if (fitter->count == 0) {
        *fit = (struct clock_fit){0};
        return;
    }
    const struct clock_exchange *newest = &fitter->best[fitter->count - 1];
    double crystal = (double)fitter->default_growth_ppb * 1e-9;
    struct point points[CLOCK_FITTER_POINTS];
    struct track track = {0};
    double least_ns = 0;
    make_points(fitter, points);
    for (int pass = 0; pass < PASSES; pass++) {
        least_ns = take_least(points, fitter->count, track.rate);
        run_track(points, fitter->count, crystal, &track);
    }
    predict(&track, (double)(now_node_ns - middle_ns(newest)));
    double hidden_ns = hidden_sd_ns(least_ns, track.bias_offset_ns);
    double sd_ns = sqrt(fmax(track.p_oo, 0) + hidden_ns * hidden_ns) + FLOOR_NS;
    double wander = WANDER * WANDER * 1e-9 * HORIZON_NS / 3;
    double bias_rate = track.bias_rate / sqrt(3);
    double growth = sqrt(fmax(track.p_rr, 0) + wander + bias_rate * bias_rate);
    *fit = (struct clock_fit){
        .known = true,
        .ref_node_ns = now_node_ns,
        .offset_ns = clock_exchange_offset_ns(newest) + llround(track.offset_ns),
        .rate_ppt = llround(track.rate * 1e12),
        .uncertainty_ns = llround(ceil(fmin(sd_ns, UNCERTAINTY_MOST_NS))),
        .growth_ppb = llround(ceil(fmin(growth * 1e9, 1e9))),
    };
}
