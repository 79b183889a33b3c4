/* Rooms over time, and the slope of time over distance.
 * Must never tell an infinite speed: an open fast end is told as the fastest hop that the gate lets
 * in. Called by judge and by cause_walking. */
#include "collector/correlate/path.h"

#include <math.h>

#include "collector/correlate/limits.h"

#define ROUNDS 4

size_t path_trace(const struct site *site, const struct path_point *points, size_t count,
                  struct path_step *steps, size_t size)
{
    size_t filled = 0;
    for (size_t i = 0; i < count && filled < size; i++) {
        uint32_t room = (uint32_t)site->nodes[points[i].node].room;
        if (filled == 0 || steps[filled - 1].room != room) {
            steps[filled].room = room;
            steps[filled].time_ns = points[i].time_ns;
            filled++;
        }
    }
    return filled;
}

static double hop_m(const struct site *site, uint32_t a, uint32_t b)
{
    double walk_m = site_node_walk_m(site, a, b);
    return walk_m >= 0.0 ? walk_m : site_node_distance_m(site, a, b);
}

struct line {
    double slope;    /* s/m */
    double slope_sd; /* from the points' own uncertainties */
    double misfit;   /* sum of squared residuals in units of sigma */
};

/* The line through time over distance, where a distance's uncertainty counts as time at `pace`. */
static struct line fit_line(const double *distance, const double *time, const double *time_sd,
                            size_t count, double pace)
{
    double weights[COINCIDENCE_MEMBERS_MAX];
    double sum = 0.0;
    double distance_mean = 0.0;
    double time_mean = 0.0;
    for (size_t i = 0; i < count; i++) {
        weights[i] = 1.0 / (time_sd[i] * time_sd[i] + pow(pace * PATH_RANGE_SD_M, 2.0) + 1e-12);
        sum += weights[i];
        distance_mean += weights[i] * distance[i];
        time_mean += weights[i] * time[i];
    }
    distance_mean /= sum;
    time_mean /= sum;
    double square = 0.0;
    double cross = 0.0;
    for (size_t i = 0; i < count; i++) {
        double away = distance[i] - distance_mean;
        square += weights[i] * away * away;
        cross += weights[i] * away * (time[i] - time_mean);
    }
    struct line line = {cross / square, 1.0 / sqrt(square), 0.0};
    for (size_t i = 0; i < count; i++) {
        double residual = time[i] - time_mean - line.slope * (distance[i] - distance_mean);
        line.misfit += weights[i] * residual * residual;
    }
    return line;
}

void path_fit_speed(const struct site *site, const struct path_point *points, size_t count,
                    struct speed *speed)
{
    *speed = (struct speed){false, 0.0, 0.0, 0.0};
    count = count < COINCIDENCE_MEMBERS_MAX ? count : COINCIDENCE_MEMBERS_MAX;
    double distance[COINCIDENCE_MEMBERS_MAX];
    double time[COINCIDENCE_MEMBERS_MAX];
    double time_sd[COINCIDENCE_MEMBERS_MAX];
    for (size_t i = 0; i < count; i++) {
        distance[i] = i ? distance[i - 1] + hop_m(site, points[i - 1].node, points[i].node) : 0.0;
        time[i] = (double)(points[i].time_ns - points[0].time_ns) * 1e-9;
        time_sd[i] = (double)points[i].time_sd_ns * 1e-9;
    }
    if (count < 2 || distance[count - 1] <= 0.0 || time[count - 1] <= 0.0) {
        return;
    }
    double pace = time[count - 1] / distance[count - 1];
    struct line line = {pace, 0.0, 0.0};
    for (int round = 0; round < ROUNDS && line.slope > 0.0; round++) {
        line = fit_line(distance, time, time_sd, count, line.slope);
    }
    if (!(line.slope > 0.0)) {
        return;
    }
    /* Nobody walks quite evenly: where the points scatter more than told, so does the speed. */
    double excess = count > 2 ? sqrt(line.misfit / (double)(count - 2)) : 1.0;
    double reach = 1.96 * line.slope_sd * fmax(1.0, excess);
    speed->known = true;
    speed->value_m_s = 1.0 / line.slope;
    speed->low_m_s = 1.0 / (line.slope + reach);
    double fastest = fmax(GATE_FASTEST_M_S, speed->value_m_s);
    speed->high_m_s = line.slope - reach > 1.0 / fastest ? 1.0 / (line.slope - reach) : fastest;
}
