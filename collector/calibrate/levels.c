/* A straight line through the levels' means, all weighted alike.
 * Must never use a level whose readings are not there. Called by the calibrate run. */
#include "collector/calibrate/levels.h"

#include <math.h>

#define PARTS 8 /* of a level, whose means tell how sure the level's mean is */
#define SAMPLES_LEAST 16

struct mean {
    double field;
    double reading;
    double sd;
};

/* The mean of the parts' means, and its sd from how they scatter: neighbours that are alike, or
 * hum, don't make it look better than it is. */
static int take_level(const struct readings *series, const struct level *level, double field_per_a,
                      struct mean *mean, struct error *error)
{
    int64_t edge_ns = (level->end_ns - level->start_ns) / 10;
    size_t first = readings_find(series, level->start_ns + edge_ns);
    size_t past = readings_find(series, level->end_ns - edge_ns);
    double sum = 0.0;
    double square = 0.0;
    if (past < first + SAMPLES_LEAST) {
        return error_set(
            error, ERROR_STATE,
            "the level of %g A has %zu samples, at least %d are needed: hold it longer",
            level->current_a, past > first ? past - first : 0, SAMPLES_LEAST);
    }
    for (size_t part = 0; part < PARTS; part++) {
        size_t from = first + (past - first) * part / PARTS;
        size_t to = first + (past - first) * (part + 1) / PARTS;
        double own = 0.0;
        for (size_t i = from; i < to; i++) {
            own += series->values[i] / (double)(to - from);
        }
        sum += own;
        square += own * own;
    }
    mean->field = field_per_a * level->current_a;
    mean->reading = sum / PARTS;
    double variance = (square - sum * mean->reading) / (PARTS - 1);
    mean->sd = sqrt(fmax(variance, 0.0) / PARTS);
    return 0;
}

/* The noise is the same at all levels, so it is told by all of them; a coarse step hides some. */
static double share_sd(const struct mean *means, size_t count, double step)
{
    double square = 0.0;
    for (size_t i = 0; i < count; i++) {
        square += means[i].sd * means[i].sd / (double)count;
    }
    return fmax(sqrt(square), fabs(step) / sqrt(12.0));
}

/* The chance of a chi-square of `dof` at or above this (Abramowitz & Stegun 1964, 26.4.4 for an odd
 * one, 26.4.5 for an even one). */
static double chance_above(double chi_square, size_t dof)
{
    double half = 0.5 * chi_square;
    double sum = dof % 2 ? erfc(sqrt(half)) : 0.0;
    double term = dof % 2 ? sqrt(chi_square * 2.0 / M_PI) * exp(-half) : exp(-half);
    for (size_t k = dof % 2 ? 3 : 2; k <= dof; k += 2) {
        sum += term;
        term *= chi_square / (double)k;
    }
    return fmin(sum, 1.0);
}

static void fit_line(const struct mean *means, size_t count, double sd,
                     struct levels_result *result)
{
    double x = 0.0, y = 0.0, xx = 0.0, xy = 0.0, square = 0.0;
    for (size_t i = 0; i < count; i++) {
        x += means[i].field / (double)count;
        y += means[i].reading / (double)count;
    }
    for (size_t i = 0; i < count; i++) {
        xx += (means[i].field - x) * (means[i].field - x);
        xy += (means[i].field - x) * (means[i].reading - y);
    }
    double slope = xy / xx;
    for (size_t i = 0; i < count; i++) {
        double off = means[i].reading - y - slope * (means[i].field - x);
        square += off * off;
    }
    double chi_square = sd > 0.0 ? square / (sd * sd) : 0.0;
    double wider = count > 2 ? fmax(1.0, chi_square / (double)(count - 2)) : 1.0;
    result->levels = count;
    result->gain = 1.0 / slope;
    result->gain_sd = sd * sqrt(wider / xx) / fabs(slope);
    result->residual = sqrt(square / (double)count) / fabs(slope);
    result->p_value = count > 2 ? chance_above(chi_square, count - 2) : NAN;
}

int levels_fit(const struct readings *series, const struct level *levels, size_t count,
               double field_per_a, struct levels_result *result, struct error *error)
{
    struct mean means[LEVELS_MAX];
    double low = INFINITY;
    double high = -INFINITY;
    if (count > LEVELS_MAX) {
        return error_set(error, ERROR_RANGE, "more than %d levels", LEVELS_MAX);
    }
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, levels[i].current_a);
        high = fmax(high, levels[i].current_a);
        if (take_level(series, &levels[i], field_per_a, &means[i], error) != 0) {
            return -1;
        }
    }
    if (count < 2 || !(high > low)) {
        return error_set(error, ERROR_STATE,
                         "at least two levels of different current are needed: one with the coil "
                         "off will do, three or more tell whether the sensor is straight");
    }
    fit_line(means, count, share_sd(means, count, series->step), result);
    if (!isfinite(result->gain) || !(result->gain_sd < 0.2)) {
        return error_set(error, ERROR_STATE,
                         "the levels don't stand out of the noise: use more current or turns, or "
                         "hold each level longer");
    }
    return 0;
}
