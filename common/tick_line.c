/* The line from a counter to the host's clock, under which no word can have come: waits only add.
 * Must never pass a time stamp through a double: only differences.
 * Called by tick_clock.c. */
#include <math.h>

#include "common/clock_track.h"
#include "common/tick_clock.h"

#define PASSES 4                 /* the waits want the rate, the rate wants the waits */
#define AROUND 12                /* windows on either side of which the least wait is taken */
#define WANDER_OF_TOLERANCE 4e-4 /* a root second; a 100 ppm crystal's is that of clock_track.c */

/* How far a window's word lies above the least around it, once the rate is taken out, and what the
 * least itself hides: of n waits of mean m it is m / n long on the average. */
static double find_wait_ns(const struct clock_point *points, size_t count, size_t at, double rate)
{
    size_t from = at > AROUND ? at - AROUND : 0;
    size_t to = at + AROUND + 1 < count ? at + AROUND + 1 : count;
    double least = INFINITY;
    double sum = 0;
    for (size_t i = from; i < to; i++) {
        double above = points[i].y_ns - points[at].y_ns - rate * (points[i].x_ns - points[at].x_ns);
        least = fmin(least, above);
        sum += above;
    }
    double number = (double)(to - from);
    double hidden = number > 1 ? (sum - number * least) / (number * (number - 1)) : 0;
    return hidden - least;
}

static void run_track(const struct clock_point *points, size_t count, double tolerance,
                      struct clock_track *track)
{
    clock_track_begin(track, &points[0], tolerance);
    track->wander = WANDER_OF_TOLERANCE * tolerance;
    for (size_t i = 1; i < count; i++) {
        clock_track_move(track, points[i].x_ns);
        clock_track_correct(track, &points[i]);
    }
}

/* The windows' times are differences from the newest. A wait falls on one way only, so it counts
 * whole where the track halves an exchange's; and its sign is known, so the bias is taken off. */
void tick_line_fit(const struct tick_window *windows, size_t count, int64_t tolerance_ppb,
                   struct clock_fit *fit)
{
    const struct tick_window *newest = &windows[count - 1];
    int64_t offset_origin_ns = newest->host_ns - newest->tick_ns;
    struct clock_point points[TICK_WINDOWS];
    struct clock_track track = {0};
    double round_ns = INFINITY;
    for (size_t i = 0; i < count; i++) {
        points[i] = (struct clock_point){
            .x_ns = (double)(windows[i].tick_ns - newest->tick_ns),
            .y_ns = (double)(windows[i].host_ns - windows[i].tick_ns - offset_origin_ns),
        };
        round_ns = fmin(round_ns, (double)windows[i].round_ns);
    }
    for (int pass = 0; pass < PASSES; pass++) {
        for (size_t i = 0; i < count; i++) {
            points[i].excess_ns = 2 * find_wait_ns(points, count, i, track.rate);
        }
        run_track(points, count, (double)tolerance_ppb * 1e-9, &track);
    }
    track.offset_ns -= track.bias_offset_ns + round_ns / 2;
    track.rate -= track.bias_rate;
    clock_track_tell(&track, round_ns, newest->tick_ns, offset_origin_ns, fit);
}
