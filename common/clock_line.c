/* The line through the best stamps of a fitter, oldest first, as of a node time.
 * Must never read a clock. Called by the node's time client, and by simulated nodes. */
#include "common/clock_track.h"

#define PASSES 2 /* the delays want the rate, the rate wants the delays */

static void run_track(const struct clock_point *points, size_t count, double crystal,
                      struct clock_track *track)
{
    clock_track_begin(track, &points[0], crystal);
    for (size_t i = 1; i < count; i++) {
        clock_track_move(track, points[i].x_ns);
        clock_track_correct(track, &points[i]);
    }
}

void clock_fitter_line(const struct clock_fitter *fitter, int64_t now_node_ns,
                       struct clock_fit *fit)
{
    if (fitter->count == 0) {
        *fit = (struct clock_fit){0};
        return;
    }
    const struct clock_exchange *newest = &fitter->best[fitter->count - 1];
    int64_t node_origin_ns = clock_point_middle_ns(newest);
    int64_t offset_origin_ns = clock_exchange_offset_ns(newest);
    double crystal = (double)fitter->default_growth_ppb * 1e-9;
    struct clock_point points[CLOCK_FITTER_POINTS];
    struct clock_track track = {0};
    double least_ns = 0;
    for (size_t i = 0; i < fitter->count; i++) {
        points[i] = clock_point_make(&fitter->best[i], node_origin_ns, offset_origin_ns);
    }
    for (int pass = 0; pass < PASSES; pass++) {
        least_ns = clock_points_take_low(points, fitter->count, track.rate);
        run_track(points, fitter->count, crystal, &track);
    }
    clock_track_move(&track, (double)(now_node_ns - node_origin_ns));
    clock_track_tell(&track, least_ns, node_origin_ns, offset_origin_ns, fit);
    fit->ref_node_ns = now_node_ns;
}
