/* roomwake import: a recording made elsewhere becomes a night.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/import.h"
#include "collector/screen.h"
#include "common/timefmt.h"

static int read_step(const char *text, struct mseed_step *step, struct error *error)
{
    const char *equals = strchr(text, '=');
    size_t length = equals ? (size_t)(equals - text) : 0;
    if (!equals || !channel_name_valid(text, length) ||
        decimal_parse(equals + 1, strlen(equals + 1), &step->step, error) != 0 ||
        step->step.mantissa == 0) {
        return error_set(error, ERROR_USAGE, "--step: \"%.100s\" is no CHANNEL=NUMBER", text);
    }
    memcpy(step->channel, text, length);
    step->channel[length] = '\0';
    return 0;
}

/* What may be given again. */
struct lists {
    struct mseed_step steps[OPTIONS_GIVEN_MAX];
    const char *calibrations[OPTIONS_GIVEN_MAX];
};

static int read_source(const struct arguments *arguments, struct lists *lists,
                       struct import_source *source, struct error *error)
{
    *source = (struct import_source){.csv = options_value(arguments, "csv"),
                                     .senml = options_value(arguments, "senml"),
                                     .mseed = options_value(arguments, "mseed"),
                                     .marks = options_value(arguments, "marks"),
                                     .steps = lists->steps,
                                     .calibrations = lists->calibrations};
    if (!source->csv + !source->senml + !source->mseed != 2) {
        return error_set(error, ERROR_USAGE, "one of --csv, --senml and --mseed is needed");
    }
    for (size_t i = 0; i < arguments->option_count; i++) {
        const char *name = arguments->options[i].spec->name;
        const char *value = arguments->options[i].value;
        if (strcmp(name, "calibration") == 0) {
            lists->calibrations[source->calibration_count++] = value;
        } else if (strcmp(name, "step") == 0 &&
                   read_step(value, &lists->steps[source->step_count++], error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    char *text = NULL;
    struct lists lists;
    struct import_source source;
    if (read_source(arguments, &lists, &source, &error) != 0 ||
        site_load(options_value(arguments, "site"), &site, &text, &error) != 0) {
        return options_fail("import", &error);
    }
    const struct findings_hooks hooks = screen_hooks();
    struct import_result result;
    int outcome = import_recording(site, text, &source, options_value(arguments, "night"), &hooks,
                                   &result, &error);
    free(text);
    site_free(site);
    if (outcome != 0) {
        return options_fail("import", &error);
    }
    char length[TIMEFMT_SIZE];
    timefmt_duration(result.end_ns - result.start_ns, length);
    printf("imported %llu samples over %s: ", (unsigned long long)result.samples, length);
    screen_print_counts(&result.findings);
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"site", "FILE", true, "the site file: rooms, doors, nodes"},
    {"csv", "FILE", false, "the recording: time,node,CHANNEL,..."},
    {"senml", "FILE", false, "or a SenML pack (RFC 8428) whose names end in NODE/CHANNEL"},
    {"mseed", "FILE", false, "or FDSN miniSEED 2"},
    {"step", "CHANNEL=NUMBER", false,
     "what one count of a channel is worth, for miniSEED that doesn't say (may be given again)"},
    {"calibration", "FILE", false,
     "what `roomwake calibrate` found of a node whose values here are not calibrated (may be given "
     "again)"},
    {"marks", "FILE", false,
     "a night's findings (export --format json): the team's marks, and by what the values were "
     "calibrated already"},
    {"night", "FILE", true, "the night file to make"},
    {0},
};

const struct command command_import = {
    .name = "import",
    .summary = "a recording made elsewhere, through the same pipeline",
    .options = options,
    .run = run_command,
};
