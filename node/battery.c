/* Five-minute means and the least-squares line through them.
 * Must never take a charging battery for one that lasts for ever. Called by sampler.c. */
#include "node/battery.h"

#include <math.h>
#include <string.h>

#include "common/clock.h"

#define BIN_NS (300 * NS_PER_S)
#define BINS_LEAST 6u /* half an hour */
#define RISE_V 0.1
#define SIGMAS 3.0
#define HOURS_MOST 999.0
#define NS_PER_HOUR 3.6e12

void battery_init(struct battery *battery, double empty_v)
{
    memset(battery, 0, sizeof *battery);
    battery->empty_v = empty_v;
}

static double mean(const struct battery_bin *bin)
{
    return bin->volts / bin->count;
}

void battery_take(struct battery *battery, int64_t time_ns, double volts)
{
    struct battery_bin *last = battery->count ? &battery->bins[battery->count - 1] : NULL;
    if (last && volts > mean(last) + RISE_V) {
        battery->count = 0;
        last = NULL;
    }
    if (!last || time_ns - last->begin_ns >= BIN_NS) {
        if (battery->count == BATTERY_BINS) {
            battery->count--;
            memmove(battery->bins, battery->bins + 1, battery->count * sizeof battery->bins[0]);
        }
        last = &battery->bins[battery->count++];
        *last = (struct battery_bin){.begin_ns = time_ns};
    }
    last->volts += volts;
    last->count++;
}

/* Volts an hour, its standard error, and the line's volts at the last bin. */
static void fit_line(const struct battery *battery, double *slope, double *error, double *volts)
{
    size_t n = battery->count;
    double mean_h = 0;
    double mean_v = 0;
    double squares = 0;
    double products = 0;
    double rest = 0;
    double hours[BATTERY_BINS];
    for (size_t i = 0; i < n; i++) {
        hours[i] = (double)(battery->bins[i].begin_ns - battery->bins[0].begin_ns) / NS_PER_HOUR;
        mean_h += hours[i] / (double)n;
        mean_v += mean(&battery->bins[i]) / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        squares += (hours[i] - mean_h) * (hours[i] - mean_h);
        products += (hours[i] - mean_h) * (mean(&battery->bins[i]) - mean_v);
    }
    *slope = products / squares;
    for (size_t i = 0; i < n; i++) {
        double off = mean(&battery->bins[i]) - mean_v - *slope * (hours[i] - mean_h);
        rest += off * off;
    }
    *error = sqrt(rest / (double)(n - 2) / squares);
    *volts = mean_v + *slope * (hours[n - 1] - mean_h);
}

double battery_hours_left(const struct battery *battery)
{
    double slope, error, volts;
    if (isnan(battery->empty_v) || battery->count == 0) {
        return (double)NAN;
    }
    if (mean(&battery->bins[battery->count - 1]) <= battery->empty_v) {
        return 0.0;
    }
    if (battery->count < BINS_LEAST) {
        return (double)NAN;
    }
    fit_line(battery, &slope, &error, &volts);
    if (slope >= 0.0 || -slope < SIGMAS * error) {
        return (double)NAN;
    }
    double left = (battery->empty_v - volts) / slope;
    return left < 0.0 ? 0.0 : left < HOURS_MOST ? left : HOURS_MOST;
}
