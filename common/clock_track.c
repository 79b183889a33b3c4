/* The filter over offset and rate, whose crystal wanders with the temperature, and the uncertainty
 * that holds the true error.
 * Must never read a clock, nor pass a time stamp through a double: only differences.
 * Called by clock_line.c, clock_smooth.c and tick_line.c. */
#include "common/clock_track.h"

#include <math.h>

#define FLOOR_NS 1000.0
/* What reading the stamps costs even on the fastest path. */
#define STAMP_SD_NS 3000.0
/* The rate walks by so much a root second: 1.7 ppm in half an hour, as a tuning fork 10 degrees
 * from its turning point does when its room changes by 2. Common practice, no source. */
#define WANDER 4e-8
#define HORIZON_NS 3600e9
#define UNCERTAINTY_MOST_NS 1e18
/* One in so many may be an exchange that was lucky on one way alone, as where the sleeper that
 * should carry it was awake by chance: its round trip is the least and its offset is off. So the
 * least delay that counts is the next that more than these have, and less is as odd as more. */
#define LUCKY_OF 16
#define LUCKY_MOST 3

int64_t clock_point_middle_ns(const struct clock_exchange *exchange)
{
    return exchange->t1_ns + (exchange->t4_ns - exchange->t1_ns) / 2;
}

struct clock_point clock_point_make(const struct clock_exchange *exchange, int64_t node_origin_ns,
                                    int64_t offset_origin_ns)
{
    return (struct clock_point){
        .x_ns = (double)(clock_point_middle_ns(exchange) - node_origin_ns),
        .y_ns = (double)(clock_exchange_offset_ns(exchange) - offset_origin_ns),
        .delay_ns = (double)clock_exchange_delay_ns(exchange),
        .apart_ns = (double)(exchange->t4_ns - exchange->t1_ns),
    };
}

/* Sets the points' delays in excess_ns; returns the low one of them, *rank of which lie below. */
static double find_low(struct clock_point *points, size_t count, double rate, size_t *rank)
{
    double lowest[LUCKY_MOST + 1] = {0};
    *rank = count / LUCKY_OF < LUCKY_MOST ? count / LUCKY_OF : LUCKY_MOST;
    for (size_t i = 0; i < count; i++) {
        double delay = fmax(0, points[i].delay_ns + rate * points[i].apart_ns);
        points[i].excess_ns = delay;
        size_t at = i <= *rank ? i : *rank + 1;
        for (; at > 0 && delay < lowest[at - 1]; at--) {
            if (at <= *rank) {
                lowest[at] = lowest[at - 1];
            }
        }
        if (at <= *rank) {
            lowest[at] = delay;
        }
    }
    return lowest[*rank];
}

/* Of `count` waiting times of mean m the k-th is k m / count long on the average: so much is hidden
 * in it. */
double clock_points_take_low(struct clock_point *points, size_t count, double rate)
{
    size_t rank;
    double low = find_low(points, count, rate, &rank);
    double above = 0;
    for (size_t i = 0; i < count; i++) {
        points[i].excess_ns = fabs(points[i].excess_ns - low);
        above += points[i].excess_ns;
    }
    double number = (double)count;
    double hidden = count > 1 ? (double)(rank + 1) * above / (number * (number - 1)) : 0;
    for (size_t i = 0; i < count; i++) {
        points[i].excess_ns += hidden;
    }
    return low;
}

/* An excess of delay, if all of it lay on one way, moves the offset by half of it. */
static double variance_of(const struct clock_point *point)
{
    double half = point->excess_ns / 2;
    return STAMP_SD_NS * STAMP_SD_NS + half * half;
}

void clock_track_begin(struct clock_track *track, const struct clock_point *point, double crystal)
{
    *track = (struct clock_track){.x_ns = point->x_ns,
                                  .offset_ns = point->y_ns,
                                  .p_oo = variance_of(point),
                                  .p_rr = crystal * crystal,
                                  .bias_offset_ns = point->excess_ns / 2,
                                  .wander = WANDER};
}

void clock_track_move(struct clock_track *track, double x_ns)
{
    double ns = x_ns - track->x_ns;
    double away = fabs(ns);
    double q = track->wander * track->wander * 1e-9; /* a ns */
    track->offset_ns += track->rate * ns;
    track->bias_offset_ns += track->bias_rate * ns;
    track->p_oo += 2 * ns * track->p_or + ns * ns * track->p_rr + q * away * away * away / 3;
    track->p_or += ns * track->p_rr + q * ns * away / 2;
    track->p_rr += q * away;
    track->x_ns = x_ns;
}

void clock_track_correct(struct clock_track *track, const struct clock_point *point)
{
    double variance = track->p_oo + variance_of(point);
    double gain_o = track->p_oo / variance;
    double gain_r = track->p_or / variance;
    double off = point->y_ns - track->offset_ns;
    track->offset_ns += gain_o * off;
    track->rate += gain_r * off;
    double bias = point->excess_ns / 2 - track->bias_offset_ns;
    track->bias_offset_ns += gain_o * bias;
    track->bias_rate += gain_r * bias;
    track->p_rr -= gain_r * track->p_or;
    track->p_or -= gain_o * track->p_or;
    track->p_oo -= gain_o * track->p_oo;
}

/* What uneven ways may hide: half the least round trip and the bias, evenly spread (GUM, JCGM
 * 100:2008, 4.3.7: a / sqrt(3)). */
static double hidden_sd_ns(double least_ns, double bias_ns)
{
    return (least_ns / 2 + fabs(bias_ns)) / sqrt(3);
}

void clock_track_tell(const struct clock_track *track, double least_ns, int64_t node_origin_ns,
                      int64_t offset_origin_ns, struct clock_fit *fit)
{
    double hidden_ns = hidden_sd_ns(least_ns, track->bias_offset_ns);
    double sd_ns = sqrt(fmax(track->p_oo, 0) + hidden_ns * hidden_ns) + FLOOR_NS;
    double wander = track->wander * track->wander * 1e-9 * HORIZON_NS / 3;
    double bias_rate = track->bias_rate / sqrt(3);
    double growth = sqrt(fmax(track->p_rr, 0) + wander + bias_rate * bias_rate);
    *fit = (struct clock_fit){
        .known = true,
        .ref_node_ns = node_origin_ns + llround(track->x_ns),
        .offset_ns = offset_origin_ns + llround(track->offset_ns),
        .rate_ppt = llround(track->rate * 1e12),
        .uncertainty_ns = llround(ceil(fmin(sd_ns, UNCERTAINTY_MOST_NS))),
        .growth_ppb = llround(ceil(fmin(growth * 1e9, 1e9))),
    };
}
