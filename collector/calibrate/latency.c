/* Crossings of the half-way line, paired.
 * Must never count one crossing twice. Called by the calibrate run. */
#include "collector/calibrate/latency.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define EVENTS_MAX 4096
#define QUARTER 0.25
/* The levels are taken where the lowest and highest tenth of the readings end. */
#define TENTH 10

struct events {
    size_t count;
    double times_s[EVENTS_MAX]; /* since the reference's first sample */
    double spacing_s;           /* of samples about them, the median */
};

/* Where the line between two samples crosses; a channel that tells only changes jumps at the
 * second. */
static double cross(const struct readings *series, size_t i, double middle, int64_t zero_ns,
                    bool on_change)
{
    double before = series->values[i - 1];
    double after = series->values[i];
    double share = on_change ? 1.0 : (middle - before) / (after - before);
    double t0 = (double)(series->times_ns[i - 1] - zero_ns);
    double t1 = (double)(series->times_ns[i] - zero_ns);
    return (t0 + share * (t1 - t0)) * 1e-9;
}

static bool only_changes(const struct readings *series)
{
    size_t alike = 0;
    for (size_t i = 1; i < series->count; i++) {
        alike += fabs(series->values[i] - series->values[i - 1]) <= 0.0;
    }
    return alike == 0 && series->count < 1000; /* a switch tells nothing twice */
}

static int find_levels(const struct readings *series, double *low, double *high,
                       struct error *error)
{
    if (series->count < 2) {
        return 0;
    }
    double *sorted = malloc(series->count * sizeof *sorted);
    if (!sorted) {
        return error_set(error, ERROR_MEMORY, "latency: out of memory");
    }
    memcpy(sorted, series->values, series->count * sizeof *sorted);
    (void)readings_median(sorted, series->count); /* sorts */
    *low = sorted[series->count / TENTH];
    *high = sorted[series->count - 1 - series->count / TENTH];
    free(sorted);
    return 0;
}

static int find_events(const struct readings *series, int64_t zero_ns, struct events *events,
                       struct error *error)
{
    double low = 0.0;
    double high = 0.0;
    if (find_levels(series, &low, &high, error) != 0) {
        return -1;
    }
    double middle = 0.5 * (low + high);
    double margin = QUARTER * (high - low);
    double crossed_s = 0.0;
    bool on_change = only_changes(series);
    int side = 0;
    events->count = 0;
    for (size_t i = 0; i < series->count; i++) {
        double off = series->values[i] - middle;
        if (i > 0 && (off > 0.0) != (series->values[i - 1] > middle)) {
            crossed_s = cross(series, i, middle, zero_ns, on_change);
        }
        int now = off > margin ? 1 : off < -margin ? -1 : side;
        if (side != 0 && now != side && events->count < EVENTS_MAX) {
            events->times_s[events->count++] = crossed_s;
        }
        side = now;
    }
    events->spacing_s = on_change || series->count < 2
                            ? 0.0
                            : (double)(series->times_ns[series->count - 1] - series->times_ns[0]) *
                                  1e-9 / (double)(series->count - 1);
    return 0;
}

/* The nearest of the others to this one, if it is within. */
static bool nearest(const struct events *events, double time_s, double within_s, double *lag_s)
{
    *lag_s = INFINITY;
    for (size_t i = 0; i < events->count; i++) {
        double lag = events->times_s[i] - time_s;
        *lag_s = fabs(lag) < fabs(*lag_s) ? lag : *lag_s;
    }
    return fabs(*lag_s) <= within_s;
}

static int pair(const struct events *reference, const struct events *events, double within_s,
                struct latency_result *result, struct error *error)
{
    double sum = 0.0;
    double square = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < reference->count; i++) {
        double lag;
        double back;
        if (nearest(events, reference->times_s[i], within_s, &lag) &&
            nearest(reference, reference->times_s[i] + lag, within_s, &back) &&
            fabs(back + lag) < 1e-9) { /* each is the other's nearest */
            sum += lag;
            square += lag * lag;
            count++;
        }
    }
    if (count < LATENCY_EVENTS_LEAST) {
        return error_set(
            error, ERROR_STATE,
            "%zu shared events (%zu and %zu jumps) within %g s of each other, at least "
            "%d are needed: make both channels jump together, a few seconds apart",
            count, reference->count, events->count, within_s, LATENCY_EVENTS_LEAST);
    }
    double n = (double)count;
    double scatter = fmax(square / n - sum / n * (sum / n), 0.0) * n / (n - 1.0);
    double spacing =
        (reference->spacing_s * reference->spacing_s + events->spacing_s * events->spacing_s) /
        12.0;
    result->events = count;
    result->latency_s = sum / n;
    result->sd_s = sqrt(fmax(scatter, spacing) / n);
    return 0;
}

int latency_find(const struct readings *reference, const struct readings *series, double within_s,
                 struct latency_result *result, struct error *error)
{
    struct events *events = calloc(2, sizeof *events);
    if (!events) {
        return error_set(error, ERROR_MEMORY, "latency: out of memory");
    }
    int64_t zero_ns = reference->count > 0 ? reference->times_ns[0] : 0;
    int outcome = find_events(reference, zero_ns, &events[0], error) ||
                          find_events(series, zero_ns, &events[1], error) ||
                          pair(&events[0], &events[1], within_s, result, error)
                      ? -1
                      : 0;
    free(events);
    return outcome;
}
