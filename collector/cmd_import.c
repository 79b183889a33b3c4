/* roomwake import: a recording made elsewhere becomes a night.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/import.h"
#include "collector/screen.h"
#include "common/timefmt.h"

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    char *text = NULL;
    if (site_load(options_value(arguments, "site"), &site, &text, &error) != 0) {
        return options_fail("import", &error);
    }
    const struct findings_hooks hooks = screen_hooks();
    struct import_result result;
    int outcome = import_csv(site, text, options_value(arguments, "csv"),
                             options_value(arguments, "night"), &hooks, &result, &error);
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
    {"csv", "FILE", true, "the recording: time,node,CHANNEL,..."},
    {"night", "FILE", true, "the night file to make"},
    {0},
};

const struct command command_import = {
    .name = "import",
    .summary = "a recording made elsewhere, through the same pipeline",
    .options = options,
    .run = run_command,
};
