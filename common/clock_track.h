/* A crystal's offset and rate as a state with variances, moved along and corrected by points: what
 * clock_line.c, clock_smooth.c and tick_line.c share. Must never be included elsewhere.
 * All numbers are differences from an origin that the caller keeps. */
#ifndef ROOMWAKE_COMMON_CLOCK_TRACK_H
#define ROOMWAKE_COMMON_CLOCK_TRACK_H

#include "common/clock_fit.h"

/* One kept burst. */
struct clock_point {
    double x_ns;      /* node time */
    double y_ns;      /* offset */
    double delay_ns;  /* there and back */
    double excess_ns; /* apart from the low one of its surroundings */
    double apart_ns;  /* node time from question to answer, of which the rate is no delay */
};

/* The state at the node time x_ns. bias is what the estimate is off if every delay above the least
 * fell on the same way: delays do not average out. */
struct clock_track {
    double x_ns;
    double offset_ns, rate;
    double p_oo, p_or, p_rr; /* variances, ns^2, ns, 1 */
    double bias_offset_ns, bias_rate;
    double wander; /* the rate walks by so much a root second */
};

struct clock_point clock_point_make(const struct clock_exchange *exchange, int64_t node_origin_ns,
                                    int64_t offset_origin_ns);
/* Node time half way between question and answer. */
int64_t clock_point_middle_ns(const struct clock_exchange *exchange);
/* Sets the excesses, once the crystal's rate is taken out of the delays; returns the low delay that
 * they count from: the least, where it is not alone. */
double clock_points_take_low(struct clock_point *points, size_t count, double rate);

/* crystal: how far the rate may be off, one sigma. The wander is a crystal's; may be set after. */
void clock_track_begin(struct clock_track *track, const struct clock_point *point, double crystal);
/* To another node time, later or earlier. */
void clock_track_move(struct clock_track *track, double x_ns);
void clock_track_correct(struct clock_track *track, const struct clock_point *point);
/* The line at the state's node time; least_ns is the round trip that bounds what uneven ways hide.
 */
void clock_track_tell(const struct clock_track *track, double least_ns, int64_t node_origin_ns,
                      int64_t offset_origin_ns, struct clock_fit *fit);

#endif
