/* The line through the best exchanges: weighted least squares with an uncertainty that covers.
 * Must never read a clock, nor pass a time stamp through a double: only differences.
 * Called by the node's time client, and by simulated nodes. */
#include "common/clock_fit.h"

#include <math.h>
#include <string.h>

#define DELAY_MOST_NS INT64_C(10000000000)
#define RATE_POINTS_LEAST 3
#define RATE_SPAN_LEAST_NS INT64_C(60000000000)
#define FLOOR_NS 1000.0
/* A crystal's rate moves by up to about this as a room warms by a few degrees: common practice, no
 * source. */
#define WANDER_PPB 1000.0
#define RATE_MOST_PPB 1e8
/* What reading the stamps costs even on the fastest path. */
#define STAMP_SD_NS 2000.0
#define CLOCK_SET_SLACK_NS 1e6
#define UNCERTAINTY_MOST_NS 1e18

/* One kept exchange, relative to the newest. */
struct point {
    double x_ns;     /* node time */
    double y_ns;     /* offset */
    double sd_ns;    /* how far its offset may lie from that of the least delay */
    double delay_ns; /* round trip */
};

struct line {
    double x_mean_ns;
    double y_mean_ns;
    double rate; /* ns of offset a ns of node time */
    double rate_sd;
    double residual_ns; /* weighted rms about the line */
};

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

/* Each exchange bounds the true offset to half its delay on either side. Two that contradict each
 * other by more than the crystal explains mean that the time server's clock was set anew. */
static bool contradicts(const struct clock_fitter *fitter, const struct clock_exchange *newer)
{
    const struct clock_exchange *last = &fitter->best[fitter->count - 1];
    double apart = fabs((double)(clock_exchange_offset_ns(newer) - clock_exchange_offset_ns(last)));
    double halves = (double)(clock_exchange_delay_ns(newer) + clock_exchange_delay_ns(last)) / 2;
    double drift =
        2e-9 * (double)fitter->default_growth_ppb * fabs((double)(newer->t4_ns - last->t4_ns));
    return apart > halves + drift + CLOCK_SET_SLACK_NS;
}

static void forget_first(struct clock_fitter *fitter, size_t count)
{
    fitter->count -= count;
    memmove(fitter->best, fitter->best + count, fitter->count * sizeof fitter->best[0]);
}

bool clock_fitter_add_burst(struct clock_fitter *fitter, const struct clock_exchange *exchanges,
                            size_t count)
{
    const struct clock_exchange *best = NULL;
    for (size_t i = 0; i < count; i++) {
        if (exchange_valid(&exchanges[i]) &&
            (!best || clock_exchange_delay_ns(&exchanges[i]) < clock_exchange_delay_ns(best))) {
            best = &exchanges[i];
        }
    }
    if (!best) {
        return false;
    }
    if (fitter->count > 0 && contradicts(fitter, best)) {
        fitter->count = 0;
    }
    size_t old = fitter->count == CLOCK_FITTER_POINTS ? 1 : 0;
    while (old < fitter->count && best->t4_ns - fitter->best[old].t4_ns > fitter->span_ns) {
        old++;
    }
    forget_first(fitter, old);
    fitter->best[fitter->count++] = *best;
    return true;
}

static int64_t middle_ns(const struct clock_exchange *exchange)
{
    return exchange->t1_ns + (exchange->t4_ns - exchange->t1_ns) / 2;
}

/* Fills points relative to the newest exchange; returns the least delay. An excess of delay, if all
 * of it lay on one way, moves the offset by half of it. The least delay seen has an excess too: of
 * `count` waiting times of mean m the least is m / count long on the average. */
static double make_points(const struct clock_fitter *fitter, struct point *points)
{
    const struct clock_exchange *newest = &fitter->best[fitter->count - 1];
    int64_t newest_offset_ns = clock_exchange_offset_ns(newest);
    double least = INFINITY;
    for (size_t i = 0; i < fitter->count; i++) {
        const struct clock_exchange *exchange = &fitter->best[i];
        points[i].x_ns = (double)(middle_ns(exchange) - middle_ns(newest));
        points[i].y_ns = (double)(clock_exchange_offset_ns(exchange) - newest_offset_ns);
        points[i].delay_ns = (double)clock_exchange_delay_ns(exchange);
        least = fmin(least, points[i].delay_ns);
    }
    double excess_sum = 0;
    for (size_t i = 0; i < fitter->count; i++) {
        excess_sum += points[i].delay_ns - least;
    }
    double count = (double)fitter->count;
    double hidden = count > 1 ? excess_sum / (count * (count - 1)) : 0;
    for (size_t i = 0; i < fitter->count; i++) {
        double excess = points[i].delay_ns - least + hidden;
        points[i].sd_ns = STAMP_SD_NS + least / 32 + excess / 2;
    }
    return least;
}

/* False where all points lie at one time. */
static bool fit_line(const struct point *points, size_t count, struct line *line)
{
    double weights = 0, x_sum = 0, y_sum = 0;
    for (size_t i = 0; i < count; i++) {
        double weight = 1 / (points[i].sd_ns * points[i].sd_ns);
        weights += weight;
        x_sum += weight * points[i].x_ns;
        y_sum += weight * points[i].y_ns;
    }
    *line = (struct line){.x_mean_ns = x_sum / weights, .y_mean_ns = y_sum / weights};
    double xx = 0, xy = 0;
    for (size_t i = 0; i < count; i++) {
        double weight = 1 / (points[i].sd_ns * points[i].sd_ns);
        double dx = points[i].x_ns - line->x_mean_ns;
        xx += weight * dx * dx;
        xy += weight * dx * (points[i].y_ns - line->y_mean_ns);
    }
    if (xx <= 0) {
        return false;
    }
    line->rate = xy / xx;
    double chi2 = 0;
    for (size_t i = 0; i < count; i++) {
        double dx = points[i].x_ns - line->x_mean_ns;
        double rest = points[i].y_ns - line->y_mean_ns - line->rate * dx;
        chi2 += rest * rest / (points[i].sd_ns * points[i].sd_ns);
    }
    double reduced = chi2 / (double)(count - 2);
    line->residual_ns = sqrt(reduced * (double)count / weights);
    line->rate_sd = sqrt(fmax(1, reduced) / xx);
    return fabs(line->rate) * 1e9 <= RATE_MOST_PPB;
}

/* One sigma of what no exchange can show: that the least delay was uneven, evenly spread within
 * its bound of half a round trip to either side. */
static double asymmetry_sd_ns(double least_delay_ns)
{
    return least_delay_ns / 2 / sqrt(3);
}

static void finish(struct clock_fit *fit, int64_t newest_offset_ns, double y_ns, double rate,
                   double sd_ns, double growth_ppb)
{
    fit->known = true;
    fit->offset_ns = newest_offset_ns + llround(y_ns);
    fit->rate_ppt = llround(rate * 1e12);
    fit->uncertainty_ns = llround(ceil(fmin(sd_ns, UNCERTAINTY_MOST_NS)));
    fit->growth_ppb = llround(ceil(growth_ppb));
}

/* Before the rate is known: the exchange that says most, as old as it is. */
static void finish_without_rate(const struct clock_fitter *fitter, const struct point *points,
                                double least_ns, double now_ns, int64_t newest_offset_ns,
                                struct clock_fit *fit)
{
    double growth = (double)fitter->default_growth_ppb * 1e-9;
    double best_sd = INFINITY;
    double best_y = 0;
    for (size_t i = 0; i < fitter->count; i++) {
        double excess = (points[i].delay_ns - least_ns) / 2;
        double sd = hypot(excess, asymmetry_sd_ns(least_ns)) + FLOOR_NS +
                    growth * fabs(now_ns - points[i].x_ns);
        if (sd < best_sd) {
            best_sd = sd;
            best_y = points[i].y_ns;
        }
    }
    finish(fit, newest_offset_ns, best_y, 0, best_sd, (double)fitter->default_growth_ppb);
}

void clock_fitter_line(const struct clock_fitter *fitter, int64_t now_node_ns,
                       struct clock_fit *fit)
{
    *fit = (struct clock_fit){.ref_node_ns = now_node_ns};
    if (fitter->count == 0) {
        *fit = (struct clock_fit){0};
        return;
    }
    const struct clock_exchange *newest = &fitter->best[fitter->count - 1];
    int64_t newest_offset_ns = clock_exchange_offset_ns(newest);
    double now_ns = (double)(now_node_ns - middle_ns(newest));
    struct point points[CLOCK_FITTER_POINTS];
    double least_ns = make_points(fitter, points);
    struct line line;
    if (fitter->count < RATE_POINTS_LEAST || -points[0].x_ns < (double)RATE_SPAN_LEAST_NS ||
        !fit_line(points, fitter->count, &line)) {
        finish_without_rate(fitter, points, least_ns, now_ns, newest_offset_ns, fit);
        return;
    }
    double wander_ppb = fmin(WANDER_PPB, (double)fitter->default_growth_ppb);
    double growth_ppb = fmax(line.rate_sd * 1e9, wander_ppb);
    double reach_ns = now_ns - line.x_mean_ns;
    double spread_ns = hypot(line.residual_ns, reach_ns * line.rate_sd);
    double sd_ns =
        hypot(spread_ns, asymmetry_sd_ns(least_ns)) + FLOOR_NS + wander_ppb * 1e-9 * fabs(now_ns);
    finish(fit, newest_offset_ns, line.y_mean_ns + line.rate * reach_ns, line.rate, sd_ns,
           fmin(growth_ppb, 1e9));
}
