/* roomwake preflight: go or no go, per node, before the team leaves the house.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>

#include "collector/commands.h"
#include "collector/options_station.h"
#include "collector/record/preflight_run.h"

#define DEFAULT_HOURS 8
#define DEFAULT_WAIT_S 120
#define DEFAULT_LOOK_S 30
#define LOOK_LEAST_S 10.0

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    bool go = false;
    double hours = 0.0;
    struct preflight_settings settings = {.station = options_station(arguments)};
    if (options_number(arguments, "hours", DEFAULT_HOURS, 0.1, 1000.0, &hours, &error) != 0 ||
        options_number(arguments, "wait", DEFAULT_WAIT_S, 1.0, 3600.0, &settings.wishes.wait_s,
                       &error) != 0 ||
        options_number(arguments, "look", DEFAULT_LOOK_S, LOOK_LEAST_S, 600.0,
                       &settings.wishes.look_s, &error) != 0 ||
        site_load(options_value(arguments, "site"), &site, NULL, &error) != 0) {
        return options_fail("preflight", &error);
    }
    settings.wishes.site = site;
    settings.station.site_id = site->id;
    settings.wishes.night_s = hours * 3600.0;
    int outcome = preflight_run(&settings, &go, &error);
    site_free(site);
    if (outcome != 0) {
        return options_fail("preflight", &error);
    }
    return go ? EXIT_CODE_SUCCESS : EXIT_CODE_FAILED;
}

static const struct option_spec options[] = {
    OPTIONS_STATION_SITE_ROW,
    {"hours", "H", false, "how long the night will be (default 8)"},
    {"wait", "SECONDS", false, "at most so long for the nodes (default 120)"},
    {"look", "SECONDS", false, "how much of each node is looked at (default 30)"},
    OPTIONS_STATION_ROWS,
    {0},
};

const struct command command_preflight = {
    .name = "preflight",
    .summary = "go or no go, per node, before the night",
    .options = options,
    .run = run_command,
};
