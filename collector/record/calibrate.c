/* Session -> readings -> fit -> what it adds to the calibration file.
 * Must never write where the fit did not hold. Called by cmd_calibrate.c. */
#include "collector/record/calibrate.h"

#include <math.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "collector/calibrate/fields.h"
#include "collector/calibrate/latency.h"
#include "collector/calibrate/outcome.h"
#include "collector/record/calibrate_run.h"
#include "common/timefmt.h"

/* The channel's axis may lie this far off the coil's, by eye: its cosine is part of the error. */
#define TILT_COSINE (1.0 - 0.99863) /* 3 degrees */
#define WIRE_LACK_MOST 0.02
#define BENT_P 1e-3

/* ---- the file that is added to ---- */

static int begin(struct calibrate_run *run)
{
    const struct calibrate_settings *settings = run->settings;
    struct error *error = run->error;
    (void)snprintf(run->file.node, sizeof run->file.node, "%s", settings->node);
    struct channel_calibrations old;
    if (channel_calibrations_load(settings->out_path, &old, error) != 0) {
        return error->code == ERROR_NOT_FOUND ? 0 : -1;
    }
    if (strcmp(old.node, settings->node) != 0) {
        return error_set(error, ERROR_USAGE, "--out: %s is of node %s, not of %s",
                         settings->out_path, old.node, settings->node);
    }
    run->file = old;
    return 0;
}

/* What was known of the channel: by the file, else by the session's own description. */
struct calibration calibrate_known(const struct calibrate_run *run,
                                   const struct calibrate_wanted *wanted)
{
    const struct calibration *in_file = channel_calibrations_find(&run->file, wanted->channel);
    return in_file                                        ? *in_file
           : wanted->description.calibration.date_ns != 0 ? wanted->description.calibration
                                                          : calibration_begin(0);
}

void calibrate_note_date(struct calibrate_run *run, const struct calibrate_wanted *wanted)
{
    int64_t last_ns = wanted->series.times_ns[wanted->series.count - 1];
    run->date_ns = last_ns > run->date_ns ? last_ns : run->date_ns;
}

static void tell(const struct calibrate_run *run, const char *channel, const char *unit,
                 const struct calibration *found)
{
    char value[64];
    char sd[64];
    fprintf(run->words, "%s: ", channel);
    if (calibration_of_unit(found)) {
        fprintf(run->words, "gain %.6g +- %.2g %%", decimal_to_double(found->gain),
                found->gain_sd * 100);
    } else {
        fprintf(run->words, "gain %.6g (the size of its unit is uncalibrated)",
                decimal_to_double(found->gain));
    }
    if (!isnan(found->offset_sd)) {
        sentence_value(decimal_to_double(found->offset), unit, value, sizeof value);
        sentence_value(found->offset_sd, unit, sd, sizeof sd);
        fprintf(run->words, ", offset %s +- %s", value, sd);
    }
    if (!isnan(found->residual)) {
        sentence_value(found->residual, unit, value, sizeof value);
        fprintf(run->words, ", left over %s rms", value);
    }
    if (!isnan(found->noise)) {
        sentence_value(found->noise, unit, value, sizeof value);
        fprintf(run->words, ", noise %s rms", value);
    }
    if (!isnan(found->latency_s)) {
        fprintf(run->words, ", %.3g ms behind %s, +- %.2g ms", found->latency_s * 1e3,
                found->against, found->latency_sd_s * 1e3);
    }
    fprintf(run->words, " (one sigma each)\n");
}

int calibrate_keep(struct calibrate_run *run, const struct calibrate_wanted *wanted,
                   const struct calibration *found)
{
    tell(run, wanted->channel, wanted->description.unit, found);
    return channel_calibrations_put(&run->file, wanted->channel, wanted->description.unit, found,
                                    run->error);
}

/* ---- coil and wire ---- */

/* Field per ampere, and how well that is known, as a share. */
static int choose_coil(const struct calibrate_settings *s, double *per_a, double *share,
                       struct error *error)
{
    if (!(s->turns > 0) || !(s->radius_m > 0)) {
        return error_set(error, ERROR_USAGE,
                         "--turns and --radius: a coil session needs both: the "
                         "turns of each coil, and their radius in metres");
    }
    *per_a = fields_helmholtz_t(s->turns, s->radius_m, 1.0);
    *share = hypot(s->measure_error_m / s->radius_m, s->current_error);
    return 0;
}

static int choose_wire(const struct calibrate_settings *s, double *per_a, double *share,
                       struct error *error)
{
    if (!(s->distance_m > 0) || !(s->length_m > 0)) {
        return error_set(error, ERROR_USAGE,
                         "--distance and --length: a wire session needs both: from the middle of "
                         "the wire to the middle of the sensor, and how long it runs straight, in "
                         "metres");
    }
    double lack = fields_wire_lack(s->distance_m, s->length_m);
    if (lack > WIRE_LACK_MOST) {
        return error_set(error, ERROR_STATE,
                         "a wire of %g m is too short for a distance of %g m: at least %.2g m of "
                         "straight wire are needed, and its way back far off",
                         s->length_m, s->distance_m, 10.0 * s->distance_m);
    }
    *per_a = fields_wire_t(s->distance_m, 1.0);
    *share = hypot(hypot(s->measure_error_m / s->distance_m, s->current_error), lack);
    return 0;
}

static int keep_gain(struct calibrate_run *run, const struct calibrate_wanted *wanted,
                     const struct levels_result *found, double share)
{
    struct calibration calibration = calibrate_known(run, wanted);
    const struct outcome outcome = {.gain = found->gain,
                                    .gain_sd = hypot(hypot(found->gain_sd, share), TILT_COSINE),
                                    .zero = NAN,
                                    .residual = found->residual};
    if (!(found->gain > 0)) {
        return error_set(run->error, ERROR_STATE,
                         "%s falls as the current rises: the coil's field points against the axis. "
                         "Swap its two ends, or give the currents with a minus",
                         wanted->channel);
    }
    if (outcome_merge(&outcome, run->settings->method, run->date_ns, &calibration, run->error) !=
            0 ||
        calibrate_keep(run, wanted, &calibration) != 0) {
        return -1;
    }
    if (found->p_value < BENT_P) {
        fprintf(run->words,
                "The levels don't lie on a straight line (p = %.1g): it clips, or the currents are "
                "not what was said. The uncertainty is wider for it.\n",
                found->p_value);
    }
    if (found->levels == 2) {
        fprintf(run->words, "Two levels can't tell whether the sensor is straight: three can.\n");
    }
    return 0;
}

static int run_levels(struct calibrate_run *run, struct calibrate_wanted *wanted)
{
    struct level levels[LEVELS_MAX];
    struct levels_result found;
    size_t count = 0;
    double per_a = 0.0;
    double share = 0.0;
    bool coil = strcmp(run->settings->method, "coil") == 0;
    if ((coil ? choose_coil : choose_wire)(run->settings, &per_a, &share, run->error) != 0 ||
        calibrate_session_levels(run->settings, levels, LEVELS_MAX, &count, run->error) != 0 ||
        calibrate_session_read(run->settings, wanted, 1, run->error) != 0) {
        return -1;
    }
    if (strcmp(wanted->description.unit, "T") != 0) {
        return error_set(run->error, ERROR_USAGE,
                         "--channel: %s is in %s: a %s calibrates a magnetic channel",
                         wanted->channel, wanted->description.unit, run->settings->method);
    }
    if (levels_fit(&wanted->series, levels, count, per_a, &found, run->error) != 0) {
        return -1;
    }
    run->date_ns = levels[0].end_ns;
    for (size_t i = 1; i < count; i++) {
        run->date_ns = levels[i].end_ns > run->date_ns ? levels[i].end_ns : run->date_ns;
    }
    return keep_gain(run, wanted, &found, share);
}

/* ---- noise and latency ---- */

static int run_noise(struct calibrate_run *run, struct calibrate_wanted *wanted)
{
    if (calibrate_session_read(run->settings, wanted, 1, run->error) != 0) {
        return -1;
    }
    double noise = readings_noise(&wanted->series);
    if (isnan(noise) || wanted->description.rate_hz <= 0) {
        return error_set(run->error, ERROR_STATE,
                         "%s: needs an evenly sampled channel and a still spell of a minute or so",
                         wanted->channel);
    }
    calibrate_note_date(run, wanted);
    struct calibration calibration = calibrate_known(run, wanted);
    calibration.noise = noise * fabs(decimal_to_double(calibration.gain));
    calibration.date_ns = run->date_ns;
    if (!calibration.how[0]) {
        (void)snprintf(calibration.how, sizeof calibration.how, "noise");
    }
    return calibrate_keep(run, wanted, &calibration);
}

/* The one that it was held against tells late itself, as is known: so much more. */
static void add_reference(struct calibration *calibration, const struct calibration *reference)
{
    if (reference->date_ns != 0 && !isnan(reference->latency_s)) {
        calibration->latency_s += reference->latency_s;
        calibration->latency_sd_s = hypot(calibration->latency_sd_s, reference->latency_sd_s);
    }
}

static int find_latency(struct calibrate_run *run, struct calibrate_wanted wanted[2])
{
    struct latency_result found;
    if (calibrate_session_read(run->settings, wanted, 2, run->error) != 0 ||
        latency_find(&wanted[1].series, &wanted[0].series, run->settings->within_s, &found,
                     run->error) != 0) {
        return -1;
    }
    calibrate_note_date(run, &wanted[0]);
    struct calibration calibration = calibrate_known(run, &wanted[0]);
    bool one_clock = strcmp(wanted[0].node, wanted[1].node) == 0;
    double clocks = one_clock ? 0.0 : hypot(wanted[0].clock_sd_s, wanted[1].clock_sd_s);
    calibration.latency_s = found.latency_s;
    calibration.latency_sd_s = hypot(found.sd_s, clocks);
    add_reference(&calibration, &wanted[1].description.calibration);
    (void)snprintf(calibration.against, sizeof calibration.against, "%s/%s", wanted[1].node,
                   wanted[1].channel);
    calibration.date_ns = run->date_ns;
    if (!calibration.how[0]) {
        (void)snprintf(calibration.how, sizeof calibration.how, "latency");
    }
    fprintf(run->words, "%zu shared events\n", found.events);
    return calibrate_keep(run, &wanted[0], &calibration);
}

static int run_latency(struct calibrate_run *run, struct calibrate_wanted *wanted)
{
    struct calibrate_wanted both[2] = {*wanted, {.node = ""}};
    const char *slash = run->settings->against ? strchr(run->settings->against, '/') : NULL;
    size_t length = slash ? (size_t)(slash - run->settings->against) : 0;
    if (!slash || !ident_valid(run->settings->against, length) ||
        !channel_name_valid(slash + 1, strlen(slash + 1))) {
        return error_set(run->error, ERROR_USAGE,
                         "--against: NODE/CHANNEL that saw the same events");
    }
    memcpy(both[1].node, run->settings->against, length);
    (void)snprintf(both[1].channel, CHANNEL_NAME_SIZE, "%s", slash + 1);
    int result = find_latency(run, both);
    readings_free(&both[0].series);
    readings_free(&both[1].series);
    return result;
}

/* ---- all ---- */

static const struct method {
    const char *name;
    int (*run)(struct calibrate_run *run, struct calibrate_wanted *wanted);
} methods[] = {
    {"coil", run_levels}, {"wire", run_levels}, {"noise", run_noise}, {"latency", run_latency}};

static int run_method(struct calibrate_run *run)
{
    const struct calibrate_settings *settings = run->settings;
    struct calibrate_wanted wanted = {.node = ""};
    if (strcmp(settings->method, "rotation") == 0) {
        return calibrate_rotation(run);
    }
    if (!settings->channel || !channel_name_valid(settings->channel, strlen(settings->channel))) {
        return error_set(run->error, ERROR_USAGE, "--channel: needed for %s, such as magnetic.x",
                         settings->method);
    }
    (void)snprintf(wanted.node, sizeof wanted.node, "%s", settings->node);
    (void)snprintf(wanted.channel, sizeof wanted.channel, "%s", settings->channel);
    for (size_t i = 0; i < sizeof methods / sizeof methods[0]; i++) {
        if (strcmp(methods[i].name, settings->method) == 0) {
            int result = methods[i].run(run, &wanted);
            readings_free(&wanted.series);
            return result;
        }
    }
    return error_set(run->error, ERROR_USAGE,
                     "--method: must be rotation, coil, wire, noise or latency");
}

int calibrate_run(const struct calibrate_settings *settings, FILE *words, struct error *error)
{
    struct calibrate_run run = {.settings = settings, .words = words, .error = error};
    if (begin(&run) != 0 || run_method(&run) != 0 ||
        channel_calibrations_save(settings->out_path, &run.file, error) != 0) {
        return -1;
    }
    fprintf(words,
            "written to %s: a node whose config says \"calibration\": \"%s\" tells it with "
            "its channels\n",
            settings->out_path, settings->out_path);
    return 0;
}
