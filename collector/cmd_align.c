/* roomwake align: finds the clock of a sound recorder that ran through the night, and makes its
 * level a witness. Must never hold more than options and calls. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/export/whole.h"
#include "collector/options.h"
#include "collector/record/align.h"
#include "collector/record/recorder.h"
#include "collector/screen.h"
#include "collector/stop_signal.h"
#include "common/ident.h"

#define DISTANCE_MOST_M 1000.0

struct wish {
    struct align_settings align;
    struct recorder_settings recorder;
    const char *levels_path;
    double at_m[3];
};

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

/* "X,Y,Z"; whether that is in the room is the site's to say. */
static int read_at(const char *text, double at_m[3], struct error *error)
{
    const char *at = text;
    for (int axis = 0; text && axis < 3; axis++) {
        char *rest = NULL;
        at_m[axis] = strtod(at, &rest);
        if (rest == at || *rest != (axis < 2 ? ',' : '\0')) {
            return error_set(error, ERROR_USAGE, "--at: \"%s\" is no X,Y,Z in metres", text);
        }
        at = rest + 1;
    }
    return 0;
}

static int read_wish(const struct arguments *arguments, struct wish *wish, struct error *error)
{
    const char *node = options_value(arguments, "node");
    const char *at = options_value(arguments, "at");
    *wish = (struct wish){
        .align = {.night_path = arguments->positionals[0],
                  .recording_path = arguments->positionals[1],
                  .start_ns = INT64_MIN},
        .recorder = {.night_path = arguments->positionals[0],
                     .recording_path = arguments->positionals[1],
                     .into_path = options_value(arguments, "into"),
                     .place = {.node = node ? node : "recorder",
                               .room = options_value(arguments, "room")}},
        .levels_path = options_value(arguments, "levels"),
    };
    if (!ident_valid(wish->recorder.place.node, strlen(wish->recorder.place.node))) {
        return error_set(error, ERROR_USAGE, "--node: \"%s\" is no id ([a-z0-9-], 1 to 32)", node);
    }
    if (!wish->recorder.into_path && (wish->recorder.place.room || at)) {
        return error_set(error, ERROR_USAGE, "--room and --at are for --into");
    }
    wish->recorder.place.at_m = at ? wish->at_m : NULL;
    if (options_time(arguments, "start", &wish->align.start_ns, error) != 0 ||
        read_distance(options_value(arguments, "distance"), &wish->align.distance_m, error) != 0) {
        return -1;
    }
    return read_at(at, wish->at_m, error);
}

static int write_levels(const struct wish *wish, const struct align_result *line,
                        struct error *error)
{
    struct whole whole;
    if (whole_open(&whole, wish->levels_path, false, error) != 0) {
        return -1;
    }
    if (align_levels_write(wish->align.levels, &line->match, wish->recorder.place.node, whole.out,
                           error) != 0) {
        whole_abandon(&whole);
        return -1;
    }
    return whole_close(&whole, error);
}

static int add_witness(struct wish *wish, const struct align_result *line, struct error *error)
{
    struct recorder_result added;
    const struct findings_hooks hooks = screen_hooks();
    wish->recorder.stop = stop_signal_watch();
    if (recorder_add(&wish->recorder, line, wish->align.levels, &hooks, &added, error) != 0) {
        return -1;
    }
    printf("%s: the night with %s as one more witness (%llu samples): ", wish->recorder.into_path,
           wish->recorder.place.node, (unsigned long long)added.samples);
    screen_print_counts(&added.findings);
    return 0;
}

static int run(struct wish *wish, struct error *error)
{
    struct align_result line;
    struct align_levels levels = {0};
    const bool wants_levels = wish->levels_path || wish->recorder.into_path;
    if (wish->recorder.into_path && recorder_check(&wish->recorder, error) != 0) {
        return -1;
    }
    wish->align.levels = wants_levels ? &levels : NULL;
    int outcome = align_run(&wish->align, &line, error);
    if (outcome == 0 && wish->levels_path) {
        outcome = write_levels(wish, &line, error);
    }
    if (outcome == 0) {
        align_write(&wish->align, &line, stdout);
        outcome = align_save(&wish->align, &line, error);
    }
    if (outcome == 0 && wish->recorder.into_path) {
        outcome = add_witness(wish, &line, error);
    }
    wish->align.levels = NULL;
    align_levels_free(&levels);
    return outcome;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct wish wish;
    return read_wish(arguments, &wish, &error) == 0 && run(&wish, &error) == 0
               ? EXIT_CODE_SUCCESS
               : options_fail("align", &error);
}

static const struct option_spec options[] = {
    {"into", "NEW_NIGHT", false,
     "make a copy of the night in which the recording's level is a witness, analysed afresh"},
    {"room", "ID", false, "the room that the recorder was in, for --into"},
    {"at", "X,Y,Z", false, "where in it, metres (default: its middle, 1 m up)"},
    {"node", "ID", false,
     "what the recorder is called (default: recorder); a node of the site file has its room there"},
    {"distance", "METRES", false, "from where the chirps or claps were made to the recorder"},
    {"start", "T", false,
     "about when it began, where it fits at several times (RFC 3339, or seconds since 1970)"},
    {"levels", "FILE", false, "write its loudness and peak, in the night's time, as CSV"},
    {0},
};

const struct command command_align = {
    .name = "align",
    .positional = "NIGHT RECORDING",
    .summary = "the clock of a sound recorder that ran through the night",
    .options = options,
    .run = run_command,
};
