/* roomwake align: finds the clock of a sound recorder that ran through the night.
 * Must never hold more than options and one call. Called by main.c. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/align.h"
#include "common/ident.h"

#define DISTANCE_MOST_M 1000.0

static int read_distance(const char *text, double *distance_m, struct error *error)
{
    *distance_m = -1.0;
    if (text) {
        char *rest = NULL;
        *distance_m = strtod(text, &rest);
        if (*text == '\0' || *rest != '\0' ||
            !(*distance_m >= 0.0 && *distance_m <= DISTANCE_MOST_M)) {
            return error_set(error, ERROR_USAGE, "--distance: \"%s\" is no number of metres", text);
        }
    }
    return 0;
}

static int run(struct align_settings *settings, const char *levels, struct error *error)
{
    struct align_result result;
    if (levels && !(settings->levels = fopen(levels, "wx"))) {
        return error_set(error, ERROR_IO, "%s: %s", levels, strerror(errno));
    }
    int outcome = align_run(settings, &result, error);
    if (settings->levels && fclose(settings->levels) != 0 && outcome == 0) {
        outcome = error_set(error, ERROR_IO, "%s: %s", levels, strerror(errno));
    }
    if (outcome != 0) {
        if (levels) {
            (void)remove(levels);
        }
        return -1;
    }
    align_write(settings, &result, stdout);
    return align_save(settings, &result, error);
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    const char *node = options_value(arguments, "node");
    struct align_settings settings = {.night_path = arguments->positionals[0],
                                      .recording_path = arguments->positionals[1],
                                      .node = node ? node : "recorder"};
    if (!ident_valid(settings.node, strlen(settings.node))) {
        (void)error_set(&error, ERROR_USAGE, "--node: \"%s\" is no id ([a-z0-9-], 1 to 32)",
                        settings.node);
        return options_fail("align", &error);
    }
    if (read_distance(options_value(arguments, "distance"), &settings.distance_m, &error) != 0 ||
        run(&settings, options_value(arguments, "levels"), &error) != 0) {
        return options_fail("align", &error);
    }
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"distance", "METRES", false, "from where the chirps or claps were made to the recorder"},
    {"levels", "FILE", false,
     "write its loudness and peak, in the night's time, as CSV for import"},
    {"node", "ID", false, "what the recorder is called there (default: recorder)"},
    {0},
};

const struct command command_align = {
    .name = "align",
    .positional = "NIGHT RECORDING",
    .summary = "the clock of a sound recorder that ran through the night",
    .options = options,
    .run = run_command,
};
