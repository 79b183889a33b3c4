/* roomwake walk: the walk test.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/options_station.h"
#include "collector/record/walk_run.h"

#define DEFAULT_QUIET_S 30
#define DEFAULT_LIMIT_S 300

/* "hall,passage,kitchen" */
static int read_rooms(const char *text, struct walk_wishes *wishes, struct error *error)
{
    while (*text) {
        char id[IDENT_SIZE];
        size_t length = strcspn(text, ",");
        if (length == 0 || length >= sizeof id || wishes->room_count == SITE_ROOMS_MAX) {
            return error_set(error, ERROR_USAGE,
                             "--rooms: rooms in the order of the walk, with "
                             "commas between, e.g. hall,passage,kitchen");
        }
        (void)snprintf(id, sizeof id, "%.*s", (int)length, text);
        size_t room = site_find_room(wishes->site, id);
        if (room == SIZE_MAX) {
            return error_set(error, ERROR_USAGE, "--rooms: \"%s\" is no room of the site file", id);
        }
        wishes->rooms[wishes->room_count++] = room;
        text += length + (text[length] == ',');
    }
    return 0;
}

static int run(const struct arguments *arguments, const struct site *site, bool *good,
               struct error *error)
{
    struct walk_settings settings = {.wishes = {.site = site},
                                     .station = options_station(arguments)};
    settings.station.site_id = site->id;
    if (read_rooms(options_value(arguments, "rooms"), &settings.wishes, error) != 0 ||
        options_number(arguments, "quiet", DEFAULT_QUIET_S, 0.0, 600.0, &settings.wishes.quiet_s,
                       error) != 0 ||
        options_number(arguments, "limit", DEFAULT_LIMIT_S, 1.0, 3600.0, &settings.wishes.limit_s,
                       error) != 0) {
        return -1;
    }
    return walk_run(&settings, good, error);
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    bool good = false;
    if (site_load(options_value(arguments, "site"), &site, NULL, &error) != 0) {
        return options_fail("walk", &error);
    }
    int outcome = run(arguments, site, &good, &error);
    site_free(site);
    if (outcome != 0) {
        return options_fail("walk", &error);
    }
    return good ? EXIT_CODE_SUCCESS : EXIT_CODE_FAILED;
}

static const struct option_spec options[] = {
    OPTIONS_STATION_SITE_ROW,
    {"rooms", "ID,ID...", true, "the rooms in the order in which you will walk them, each once"},
    {"quiet", "SECONDS", false,
     "stand still so long first (default 30); 0 uses what has been learnt"},
    {"limit", "SECONDS", false, "then the walk is over (default 300)"},
    OPTIONS_STATION_ROWS,
    {0},
};

const struct command command_walk = {
    .name = "walk",
    .summary = "the walk test: does each node see you, in the order you walk?",
    .options = options,
    .run = run_command,
};
