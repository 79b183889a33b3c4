/* roomwake preflight: go or no go, per node, before the team leaves the house.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/preflight_run.h"

#define DEFAULT_HOURS "8"
#define DEFAULT_WAIT_S "120"
#define DEFAULT_LOOK_S "30"
#define LOOK_LEAST_S 10.0

static int read_number(const struct arguments *arguments, const char *option, const char *fallback,
                       double least, double most, double *out, struct error *error)
{
    const char *text = options_value(arguments, option);
    char *rest = NULL;
    text = text ? text : fallback;
    *out = strtod(text, &rest);
    return *text != '\0' && *rest == '\0' && *out >= least && *out <= most
               ? 0
               : error_set(error, ERROR_USAGE, "--%s: \"%s\" is no number from %g to %g", option,
                           text, least, most);
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    bool go = false;
    double hours = 0.0;
    struct preflight_settings settings = {
        .station = {.site_path = options_value(arguments, "site"),
                    .night_path = options_value(arguments, "night"),
                    .broker_url = options_value(arguments, "broker"),
                    .listen = options_value(arguments, "listen"),
                    .time = options_value(arguments, "time")}};
    if (read_number(arguments, "hours", DEFAULT_HOURS, 0.1, 1000.0, &hours, &error) != 0 ||
        read_number(arguments, "wait", DEFAULT_WAIT_S, 1.0, 3600.0, &settings.wait_s, &error) !=
            0 ||
        read_number(arguments, "look", DEFAULT_LOOK_S, LOOK_LEAST_S, 600.0, &settings.look_s,
                    &error) != 0 ||
        site_load(options_value(arguments, "site"), &site, NULL, &error) != 0) {
        return options_fail("preflight", &error);
    }
    settings.site = site;
    settings.station.site_id = site->id;
    settings.night_s = hours * 3600.0;
    int outcome = preflight_run(&settings, &go, &error);
    site_free(site);
    if (outcome != 0) {
        return options_fail("preflight", &error);
    }
    return go ? EXIT_CODE_SUCCESS : EXIT_CODE_FAILED;
}

static const struct option_spec options[] = {
    {"site", "FILE", true, "the site file: rooms, doors, nodes"},
    {"hours", "H", false, "how long the night will be (default " DEFAULT_HOURS ")"},
    {"wait", "SECONDS", false, "at most so long for the nodes (default " DEFAULT_WAIT_S ")"},
    {"look", "SECONDS", false, "how much of each node is looked at (default " DEFAULT_LOOK_S ")"},
    {"night", "FILE", false,
     "where no night of the site is being recorded: what comes is kept there"},
    {"broker", "URL", false, "likewise: as for record"},
    {"listen", "ADDR:PORT", false, "likewise"},
    {"time", "ADDR:PORT", false, "likewise"},
    {0},
};

const struct command command_preflight = {
    .name = "preflight",
    .summary = "go or no go, per node, before the night",
    .options = options,
    .run = run_command,
};
