/* roomwake calibrate: what a session with known fields says of a node's channels.
 * Must never hold more than options and one call. Called by main.c. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/calibrate.h"
#include "common/ident.h"

/* Above 0 (or 0 where `zero` is allowed); leaves *number where the option was not given. */
static int read_number(const struct arguments *arguments, const char *option, bool zero,
                       double *number, struct error *error)
{
    const char *text = options_value(arguments, option);
    char *rest = NULL;
    if (!text) {
        return 0;
    }
    *number = strtod(text, &rest);
    return *text != '\0' && *rest == '\0' && isfinite(*number) &&
                   (*number > 0 || (zero && *number >= 0))
               ? 0
               : error_set(error, ERROR_USAGE, "--%s: \"%s\" is no number %s", option, text,
                           zero ? "from 0 on" : "above 0");
}

static int read_numbers(const struct arguments *arguments, struct calibrate_settings *settings,
                        struct error *error)
{
    double percent = 1.0;
    settings->field = settings->turns = settings->radius_m = settings->distance_m =
        settings->length_m = NAN;
    settings->field_error = NAN;
    settings->measure_error_m = 0.002;
    settings->within_s = 1.0;
    if (read_number(arguments, "field", false, &settings->field, error) != 0 ||
        read_number(arguments, "field-error", true, &settings->field_error, error) != 0 ||
        read_number(arguments, "turns", false, &settings->turns, error) != 0 ||
        read_number(arguments, "radius", false, &settings->radius_m, error) != 0 ||
        read_number(arguments, "distance", false, &settings->distance_m, error) != 0 ||
        read_number(arguments, "length", false, &settings->length_m, error) != 0 ||
        read_number(arguments, "measure-error", true, &settings->measure_error_m, error) != 0 ||
        read_number(arguments, "current-error", true, &percent, error) != 0 ||
        read_number(arguments, "within", false, &settings->within_s, error) != 0 ||
        options_time(arguments, "from", &settings->from_ns, error) != 0 ||
        options_time(arguments, "to", &settings->to_ns, error) != 0) {
        return -1;
    }
    settings->current_error = percent / 100.0;
    if (isnan(settings->field) != isnan(settings->field_error)) {
        return error_set(error, ERROR_USAGE, "--field and --field-error: both or none");
    }
    return 0;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct calibrate_settings settings = {.session_path = arguments->positionals[0],
                                          .site_path = options_value(arguments, "site"),
                                          .method = options_value(arguments, "method"),
                                          .node = options_value(arguments, "node"),
                                          .channel = options_value(arguments, "channel"),
                                          .out_path = options_value(arguments, "out"),
                                          .levels_path = options_value(arguments, "levels"),
                                          .against = options_value(arguments, "against"),
                                          .from_ns = INT64_MIN,
                                          .to_ns = INT64_MAX};
    if (!ident_valid(settings.node, strlen(settings.node))) {
        (void)error_set(&error, ERROR_USAGE, "--node: \"%.60s\" is no id", settings.node);
        return options_fail("calibrate", &error);
    }
    if (read_numbers(arguments, &settings, &error) != 0 ||
        calibrate_run(&settings, stdout, &error) != 0) {
        return options_fail("calibrate", &error);
    }
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"method", "NAME", true, "rotation, coil, wire, noise or latency"},
    {"node", "ID", true, "whose channel"},
    {"out", "FILE", true, "the node's calibration file, made or added to"},
    {"channel", "NAME", false, "the channel; for a rotation the quantity (default: magnetic)"},
    {"site", "FILE", false, "SESSION is a CSV recording of this site, not a night"},
    {"from", "T", false, "only from here: RFC 3339, or seconds since 1970"},
    {"to", "T", false, "only before this"},
    {"field", "NUMBER", false, "rotation: how strong the field is there, in the channel's unit"},
    {"field-error", "NUMBER", false, "rotation: how uncertain that is, one sigma"},
    {"turns", "N", false, "coil: turns of each of the pair's two coils"},
    {"radius", "M", false, "coil: their radius, which is their distance too"},
    {"distance", "M", false, "wire: from its middle to the sensor's"},
    {"length", "M", false, "wire: how long it runs straight"},
    {"measure-error", "M", false, "of the radius or distance, one sigma (default: 0.002)"},
    {"current-error", "PERCENT", false, "of the current, one sigma (default: 1)"},
    {"levels", "FILE", false, "coil, wire: rows start,end,amperes (default: the night's marks)"},
    {"against", "NODE/CHANNEL", false, "latency: what saw the same events"},
    {"within", "S", false, "latency: how far apart they may be (default: 1)"},
    {0},
};

const struct command command_calibrate = {
    .name = "calibrate",
    .positional = "SESSION",
    .summary = "what a session with known fields says of a node's channels",
    .options = options,
    .run = run_command,
};
