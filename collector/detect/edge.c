/* The alternation's height, followed with its slope; one wild sample moves it little.
 * Must never take off what doesn't alternate. Called by field in order of time.
 */
#include "collector/detect/edge.h"

#include <math.h>
#include <string.h>

#include "collector/detect/alias.h"

#define EDGE_PART 0.02
/* Long against a sample, short against a turn of the phase. */
#define FOLLOW_S 1.0
#define CLIP 3.0
#define SPREAD_STEP 0.01

void edge_init(struct edge *edge, double mains_hz, double rate_hz)
{
    double folded_hz = alias_hz(mains_hz, rate_hz);
    memset(edge, 0, sizeof *edge);
    if (folded_hz <= EDGE_PART * rate_hz) {
        edge->kind = EDGE_SLOW;
    } else if (0.5 * rate_hz - folded_hz <= EDGE_PART * rate_hz) {
        edge->kind = EDGE_ALTERNATE;
        edge->gain = fmin(1.0 / (FOLLOW_S * rate_hz), 0.25);
    }
}

void edge_restart(struct edge *edge)
{
    edge->started = false;
}

/* Half of the way from the last sample to this one is a look at the height; how far it may move is
 * bounded by its length, so that turning the node does not matter. */
static void follow(struct edge *edge, const double x[], size_t axes, double sign)
{
    double off[VECTOR_AXES_MAX] = {0.0};
    for (size_t a = 0; a < axes; a++) {
        off[a] = 0.5 * sign * (x[a] - edge->last[a]) - edge->height[a];
    }
    double size = vector_length(off, axes);
    edge->spread +=
        SPREAD_STEP * (fmin(size, 4.0 * edge->spread) - edge->spread) + 1e-3 * SPREAD_STEP * size;
    double part = size > CLIP * edge->spread ? CLIP * edge->spread / size : 1.0;
    for (size_t a = 0; a < axes; a++) {
        edge->height[a] += 2.0 * edge->gain * part * off[a] + edge->slope[a];
        edge->slope[a] += edge->gain * edge->gain * part * off[a];
    }
}

static void take_off(struct edge *edge, double *const series[], size_t axes, size_t at)
{
    double x[VECTOR_AXES_MAX] = {0.0};
    for (size_t a = 0; a < axes; a++) {
        x[a] = series[a][at];
    }
    double sign = edge->odd ? -1.0 : 1.0;
    if (edge->started) {
        follow(edge, x, axes, sign);
    } else {
        memset(edge->height, 0, sizeof edge->height);
        memset(edge->slope, 0, sizeof edge->slope);
    }
    for (size_t a = 0; a < axes; a++) {
        series[a][at] = x[a] - sign * edge->height[a];
        edge->last[a] = x[a];
    }
    edge->started = true;
    edge->odd = !edge->odd;
}

void edge_take_off(struct edge *edge, double *const series[], size_t axes, size_t from, size_t n)
{
    if (edge->kind != EDGE_ALTERNATE) {
        return;
    }
    for (size_t i = 0; i < n; i++) {
        take_off(edge, series, axes, from + i);
    }
}
