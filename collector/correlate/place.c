/* The two models, their starts, and the reasons to refuse.
 * Must never allocate. Called by judge. */
#include "collector/correlate/place.h"

#include <math.h>
#include <stddef.h>

#include "collector/correlate/cause_parts.h"
#include "collector/correlate/fit.h"
#include "collector/correlate/poisson.h"
#include "common/site_geometry.h"

/* All our choices. */
#define ROUND 5        /* starts along each side of the field */
#define AROUND_M 3.0   /* how far from the nodes a source may lie */
#define LINE 0.15      /* nodes' spread across over along: less is a line */
#define MISFIT_P 0.001 /* a worse fit than this by chance alone is none */
#define AS_GOOD 4.0    /* of chi-square: a second place, or none, within this is as good */
#define WIDEST 0.25    /* of the nodes' extent: an sd beyond this tells nothing */
#define NEAREST_M 0.05 /* no closer to a node than its case */
#define HEIGHT_M 1.0   /* a source's, over its floor */
/* A dipole's field at one distance lies within a factor of two by direction, sqrt(1 + 3 cos^2):
 * the sd of its logarithm over all directions (computed). */
#define DIRECTION_SD 0.21

struct field {
    const struct place_reading *readings;
    size_t count;
    double exponent;  /* of amplitudes; 0 for times */
    double speed_m_s; /* of times; 0: a parameter */
    double z_m;
    double low_m[2];
    double high_m[2];
};

static double distance_m(const struct field *field, const double *parameters, size_t i)
{
    const double *at = field->readings[i].at_m;
    double x = parameters[0] - at[0];
    double y = parameters[1] - at[1];
    double z = field->z_m - at[2];
    return fmax(NEAREST_M, sqrt(x * x + y * y + z * z));
}

/* Parameters x, y, ln of the amplitude at 1 m. */
static void amplitude_residuals(void *context, const double *parameters, double *residuals)
{
    const struct field *field = context;
    for (size_t i = 0; i < field->count; i++) {
        double expected = parameters[2] - field->exponent * log(distance_m(field, parameters, i));
        residuals[i] = (log(field->readings[i].value) - expected) / field->readings[i].sd;
    }
}

/* Parameters x, y, moment, and the time for a metre where that is not known. */
static void arrival_residuals(void *context, const double *parameters, double *residuals)
{
    const struct field *field = context;
    double s_per_m = field->speed_m_s > 0.0 ? 1.0 / field->speed_m_s : parameters[3];
    for (size_t i = 0; i < field->count; i++) {
        double expected = parameters[2] + s_per_m * distance_m(field, parameters, i);
        residuals[i] = (field->readings[i].value - expected) / field->readings[i].sd;
    }
}

static double extent_m(const struct field *field)
{
    return hypot(field->high_m[0] - field->low_m[0], field->high_m[1] - field->low_m[1]);
}

/* Whether the nodes span a plane: the lesser over the greater root of their second moments. */
static bool spans(const struct field *field)
{
    double mean[2] = {0.0, 0.0};
    double xx = 0.0;
    double yy = 0.0;
    double xy = 0.0;
    for (size_t i = 0; i < field->count; i++) {
        mean[0] += field->readings[i].at_m[0] / (double)field->count;
        mean[1] += field->readings[i].at_m[1] / (double)field->count;
    }
    for (size_t i = 0; i < field->count; i++) {
        double x = field->readings[i].at_m[0] - mean[0];
        double y = field->readings[i].at_m[1] - mean[1];
        xx += x * x;
        yy += y * y;
        xy += x * y;
    }
    double root = sqrt(0.25 * (xx - yy) * (xx - yy) + xy * xy);
    double greater = 0.5 * (xx + yy) + root;
    double lesser = 0.5 * (xx + yy) - root;
    return lesser > LINE * LINE * greater;
}

/* The rest of a start: what the parameters besides the place would be, from the first reading. */
static void complete_start(const struct field *field, double *start)
{
    const struct place_reading *last = &field->readings[field->count - 1];
    const struct place_reading *first = &field->readings[0];
    if (field->exponent > 0.0) {
        start[2] = log(first->value) + field->exponent * log(distance_m(field, start, 0));
        return;
    }
    double farther_m = distance_m(field, start, field->count - 1) - distance_m(field, start, 0);
    double s_per_m = fabs(farther_m) > 0.1 ? fabs((last->value - first->value) / farther_m) : 1.0;
    s_per_m = field->speed_m_s > 0.0 ? 1.0 / field->speed_m_s : s_per_m;
    start[2] = first->value - s_per_m * distance_m(field, start, 0);
    start[3] = s_per_m;
}

static bool inside(const struct field *field, const struct fit_result *result)
{
    for (size_t axis = 0; axis < 2; axis++) {
        if (!(result->parameters[axis] >= field->low_m[axis] - AROUND_M &&
              result->parameters[axis] <= field->high_m[axis] + AROUND_M)) {
            return false;
        }
    }
    return field->exponent > 0.0 || field->speed_m_s > 0.0 || result->parameters[3] > 0.0;
}

/* The best of all starts; false where there is none, or another place is as good. */
static bool best_of_starts(const struct field *field, const struct fit_problem *problem,
                           struct fit_result *best)
{
    struct fit_result found[ROUND * ROUND];
    size_t count = 0;
    size_t least = 0;
    for (size_t i = 0; i < (size_t)ROUND * ROUND; i++) {
        double start[FIT_PARAMETERS_MAX];
        size_t row = i / ROUND;
        double across = ((double)(i % ROUND) + 0.5) / ROUND;
        double along = ((double)row + 0.5) / ROUND;
        start[0] = field->low_m[0] + across * (field->high_m[0] - field->low_m[0]);
        start[1] = field->low_m[1] + along * (field->high_m[1] - field->low_m[1]);
        complete_start(field, start);
        if (fit_from(problem, start, &found[count])) {
            least = found[count].sum_squares < found[least].sum_squares ? count : least;
            count++;
        }
    }
    if (count == 0 || !inside(field, &found[least])) {
        return false;
    }
    *best = found[least];
    double apart_m =
        2.0 * sqrt(best->covariance[0] + best->covariance[problem->parameter_count + 1]) + 0.1;
    for (size_t i = 0; i < count; i++) {
        double away_m = hypot(found[i].parameters[0] - best->parameters[0],
                              found[i].parameters[1] - best->parameters[1]);
        if (away_m > apart_m && found[i].sum_squares < best->sum_squares + AS_GOOD &&
            inside(field, &found[i])) {
            return false;
        }
    }
    return true;
}

/* Chi-square of no place at all: as strong, or as soon, at every node. */
static double without_place(const struct field *field)
{
    double weights = 0.0;
    double mean = 0.0;
    double sum = 0.0;
    for (size_t i = 0; i < field->count; i++) {
        const struct place_reading *reading = &field->readings[i];
        double value = field->exponent > 0.0 ? log(reading->value) : reading->value;
        weights += 1.0 / (reading->sd * reading->sd);
        mean += value / (reading->sd * reading->sd);
    }
    mean /= weights;
    for (size_t i = 0; i < field->count; i++) {
        const struct place_reading *reading = &field->readings[i];
        double value = field->exponent > 0.0 ? log(reading->value) : reading->value;
        sum += (value - mean) * (value - mean) / (reading->sd * reading->sd);
    }
    return sum;
}

static void fill_source(const struct fit_result *fit, size_t parameters, struct source *source)
{
    double xx = fit->covariance[0];
    double xy = fit->covariance[1];
    double yy = fit->covariance[parameters + 1];
    double root = sqrt(0.25 * (xx - yy) * (xx - yy) + xy * xy);
    double half = 0.5 * (xx + yy);
    *source = (struct source){.known = true,
                              .x_m = fit->parameters[0],
                              .y_m = fit->parameters[1],
                              .sd_m = sqrt(xx + yy),
                              .major_m = sqrt(half + root),
                              .minor_m = sqrt(fmax(0.0, half - root)),
                              .major_deg = 28.64788975654116 * atan2(2.0 * xy, xx - yy)};
}

static void locate(struct field *field, struct source *source)
{
    bool times = !(field->exponent > 0.0);
    size_t parameters = times && !(field->speed_m_s > 0.0) ? 4 : 3;
    *source = (struct source){.known = false};
    if (field->count <= parameters || field->count > PLACE_READINGS_MAX) {
        return;
    }
    for (size_t axis = 0; axis < 2; axis++) {
        field->low_m[axis] = INFINITY;
        field->high_m[axis] = -INFINITY;
        for (size_t i = 0; i < field->count; i++) {
            double at = field->readings[i].at_m[axis];
            field->low_m[axis] = fmin(field->low_m[axis], at);
            field->high_m[axis] = fmax(field->high_m[axis], at);
        }
    }
    double span_s =
        times ? fabs(field->readings[field->count - 1].value - field->readings[0].value) : 1.0;
    double meter = 0.1 * extent_m(field);
    const double scale[4] = {meter, meter, times ? fmax(span_s, 1e-6) : 1.0,
                             fmax(span_s, 1e-6) / fmax(extent_m(field), 1e-3)};
    struct fit_problem problem = {field, times ? arrival_residuals : amplitude_residuals,
                                  field->count, parameters, scale};
    struct fit_result fit;
    if (!spans(field) || !best_of_starts(field, &problem, &fit) ||
        without_place(field) < fit.sum_squares + AS_GOOD ||
        poisson_chi_square_tail(fit.sum_squares, field->count - parameters) < MISFIT_P) {
        return;
    }
    struct source found;
    fill_source(&fit, parameters, &found);
    if (found.sd_m <= WIDEST * extent_m(field)) {
        *source = found;
    }
}

void place_by_amplitude(const struct place_reading *readings, size_t count, double exponent,
                        double z_m, struct source *source)
{
    struct field field = {.readings = readings, .count = count, .exponent = exponent, .z_m = z_m};
    for (size_t i = 0; i < count; i++) {
        if (!(readings[i].value > 0.0) || !(readings[i].sd > 0.0)) {
            *source = (struct source){.known = false};
            return;
        }
    }
    locate(&field, source);
}

void place_by_arrival(const struct place_reading *readings, size_t count, double speed_m_s,
                      double z_m, struct source *source)
{
    struct field field = {.readings = readings, .count = count, .speed_m_s = speed_m_s, .z_m = z_m};
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(readings[i].value) || !(readings[i].sd > 0.0)) {
            *source = (struct source){.known = false};
            return;
        }
    }
    locate(&field, source);
}

static double floor_m(const struct site *site, uint32_t node)
{
    return SITE_STOREY_M * (double)site->rooms[site->nodes[node].room].floor;
}

void place_coincidence(const struct site *site, const struct coincidence *coincidence,
                       struct source *source)
{
    const struct disturbance *members[COINCIDENCE_MEMBERS_MAX];
    struct place_reading readings[PLACE_READINGS_MAX];
    size_t count = cause_strongest(coincidence, QUANTITY_MAGNETIC, BAND_REST, members);
    *source = (struct source){.known = false};
    if (count == 0 || count > PLACE_READINGS_MAX) {
        return;
    }
    bool prompt = coincidence->kind == COINCIDENCE_PROMPT;
    for (size_t i = 0; i < count; i++) {
        const struct disturbance *member = members[i];
        const struct site_node *node = &site->nodes[member->node];
        double amplitude = fabs(member->peak_value);
        struct place_reading *reading = &readings[i];
        reading->at_m[0] = node->position_m[0];
        reading->at_m[1] = node->position_m[1];
        reading->at_m[2] = node->position_m[2] + floor_m(site, member->node);
        reading->value =
            prompt ? amplitude : (double)(member->onset_ns - coincidence->start_ns) * 1e-9;
        reading->sd = prompt ? hypot(DIRECTION_SD, member->baseline_scale / fmax(amplitude, 1e-30))
                             : (double)disturbance_onset_sd_ns(member) * 1e-9;
    }
    const struct disturbance *top = cause_top(members, count);
    double z_m = HEIGHT_M + floor_m(site, top->node);
    if (prompt) {
        place_by_amplitude(readings, count, 3.0, z_m, source);
    } else {
        place_by_arrival(readings, count, 0.0, z_m, source);
    }
}
