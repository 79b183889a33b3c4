/* A rotation's three channels to gain, offset and residual.
 * Must never use a sample that one of the axes lacks. Called by calibrate.c. */
#include "collector/record/calibrate_run.h"

#include <math.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "collector/calibrate/outcome.h"
#include "collector/calibrate/rotation.h"

#define AXES ROTATION_AXES

/* Keeps the samples of those times that all axes have. */
static void match_times(struct calibrate_wanted wanted[AXES])
{
    size_t at[AXES] = {0};
    size_t count = 0;
    for (;;) {
        int64_t latest_ns = INT64_MIN;
        bool same = true;
        for (size_t axis = 0; axis < AXES; axis++) {
            const struct readings *series = &wanted[axis].series;
            if (at[axis] == series->count) {
                for (size_t i = 0; i < AXES; i++) {
                    wanted[i].series.count = count;
                }
                return;
            }
            int64_t own_ns = series->times_ns[at[axis]];
            same = same && (axis == 0 || own_ns == latest_ns);
            latest_ns = own_ns > latest_ns ? own_ns : latest_ns;
        }
        for (size_t axis = 0; axis < AXES; axis++) {
            struct readings *series = &wanted[axis].series;
            if (same) {
                series->times_ns[count] = series->times_ns[at[axis]];
                series->values[count] = series->values[at[axis]];
                at[axis]++;
            } else {
                at[axis] += series->times_ns[at[axis]] < latest_ns;
            }
        }
        count += same;
    }
}

/* How strong the field was: as given, else so that the axes' sizes stay what they are on the whole.
 * *sd: relative; NaN where their size is not known. */
static double strength(const struct calibrate_settings *settings,
                       const struct calibration known_axes[AXES],
                       const struct rotation_result *found, double *sd)
{
    double logarithm = 0.0;
    double square = 0.0;
    if (!isnan(settings->field)) {
        *sd = settings->field_error / settings->field;
        return settings->field;
    }
    for (size_t axis = 0; axis < AXES; axis++) {
        double gain = decimal_to_double(known_axes[axis].gain);
        logarithm += log(fabs(gain) / found->gain[axis]) / AXES;
        square += known_axes[axis].gain_sd * known_axes[axis].gain_sd / (AXES * AXES);
    }
    *sd = sqrt(square);
    return exp(logarithm);
}

static int keep_axes(struct calibrate_run *run, const struct calibrate_wanted wanted[AXES],
                     const struct rotation_result *found)
{
    struct calibration axes[AXES];
    double sd;
    char text[64];
    for (size_t axis = 0; axis < AXES; axis++) {
        axes[axis] = calibrate_known(run, &wanted[axis]);
    }
    double field = strength(run->settings, axes, found, &sd);
    for (size_t axis = 0; axis < AXES; axis++) {
        const struct outcome outcome = {.gain = field * found->gain[axis],
                                        .gain_sd = hypot(sd, found->gain_sd[axis]),
                                        .zero = found->zero[axis],
                                        .zero_sd = found->zero_sd[axis],
                                        .residual = field * found->residual};
        if (outcome_merge(&outcome, "rotation", run->date_ns, &axes[axis], run->error) != 0 ||
            calibrate_keep(run, &wanted[axis], &axes[axis]) != 0) {
            return -1;
        }
    }
    sentence_value(field * found->residual, wanted[0].description.unit, text, sizeof text);
    fprintf(run->words,
            "left over: %s rms, %.2g %% of the field (noise, iron near, cross-talk between axes)\n",
            text, found->residual * 100);
    if (isnan(sd)) {
        fprintf(run->words,
                "The axes match now; how large the unit is was not found: give --field "
                "(and --field-error), or calibrate one axis after the other by a coil.\n");
    }
    return 0;
}

int calibrate_rotation(struct calibrate_run *run)
{
    static const char *const letters[AXES] = {"x", "y", "z"};
    struct calibrate_wanted wanted[AXES];
    const char *names[AXES];
    struct readings series[AXES];
    struct rotation_result found;
    const char *quantity = run->settings->channel ? run->settings->channel : "magnetic";
    memset(wanted, 0, sizeof wanted);
    if (!ident_valid(quantity, strlen(quantity))) {
        return error_set(run->error, ERROR_USAGE,
                         "--channel: for a rotation a quantity with the axes x, y and z, such as "
                         "magnetic or vibration");
    }
    for (size_t axis = 0; axis < AXES; axis++) {
        (void)snprintf(wanted[axis].node, IDENT_SIZE, "%s", run->settings->node);
        (void)snprintf(wanted[axis].channel, CHANNEL_NAME_SIZE, "%s.%s", quantity, letters[axis]);
        names[axis] = wanted[axis].channel;
    }
    int result = calibrate_session_read(run->settings, wanted, AXES, run->error);
    if (result == 0) {
        match_times(wanted);
        for (size_t axis = 0; axis < AXES; axis++) {
            series[axis] = wanted[axis].series;
        }
        result = rotation_fit(series, names, &found, run->error);
    }
    if (result == 0) {
        calibrate_note_date(run, &wanted[0]);
        result = keep_axes(run, wanted, &found);
    }
    for (size_t axis = 0; axis < AXES; axis++) {
        readings_free(&wanted[axis].series);
    }
    return result;
}
