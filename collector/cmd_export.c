/* roomwake export: the findings or the samples of a night, for others to check.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "collector/choose.h"
#include "collector/commands.h"
#include "collector/export/bundle.h"
#include "collector/export/exporter.h"
#include "collector/export/own_time.h"
#include "collector/options.h"
#include "collector/stop_signal.h"

/* Every value of an option that may be given more than once. */
static size_t read_names(const struct arguments *arguments, const char *option,
                         const char *names[OPTIONS_GIVEN_MAX])
{
    size_t count = 0;
    for (size_t i = 0; i < arguments->option_count; i++) {
        if (strcmp(arguments->options[i].spec->name, option) == 0) {
            names[count++] = arguments->options[i].value;
        }
    }
    return count;
}

static void show_percent(void *context, int percent)
{
    (void)context;
    fprintf(stderr, percent < 100 ? "\r%3d %%" : "\r     \r", percent);
}

/* `own` is filled and pointed to where --for names a recording. */
static int check(const struct arguments *arguments, struct export_options *options,
                 struct own_time *own, struct error *error)
{
    const char *recording = options_value(arguments, "for");
    if (options_time(arguments, "from", &options->from_ns, error) != 0 ||
        options_time(arguments, "to", &options->to_ns, error) != 0) {
        return -1;
    }
    if (options->from_ns >= options->to_ns) {
        return error_set(error, ERROR_USAGE, "--to: is not after --from");
    }
    if (options->per_second && strcmp(options_value(arguments, "format"), "csv") != 0) {
        return error_set(error, ERROR_USAGE, "--per-second: is for --format csv");
    }
    if (recording && strcmp(options_value(arguments, "format"), "webvtt") != 0) {
        return error_set(error, ERROR_USAGE, "--for: is for --format webvtt");
    }
    if (recording && own_time_read(recording, own, error) != 0) {
        return -1;
    }
    options->own = recording ? own : NULL;
    return 0;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct night_reader *reader = NULL;
    const char *nodes[OPTIONS_GIVEN_MAX];
    const char *channels[OPTIONS_GIVEN_MAX];
    struct export_options options = EXPORT_ALL;
    struct own_time own;
    options.path = options_value(arguments, "out");
    options.out = stdout;
    options.per_second = options_value(arguments, "per-second") != NULL;
    options.replace = options_value(arguments, "force") != NULL;
    options.nodes = nodes;
    options.node_count = read_names(arguments, "node", nodes);
    options.channels = channels;
    options.channel_count = read_names(arguments, "channel", channels);
    options.stop = stop_signal_watch();
    options.progress = options.path && isatty(STDERR_FILENO) ? show_percent : NULL;
    if (check(arguments, &options, &own, &error) != 0 ||
        night_reader_open(arguments->positionals[0], &reader, &error) != 0) {
        return options_fail("export", &error);
    }
    const char *format = options_value(arguments, "format");
    int result = choose_analysis(arguments, reader, &error) != 0 ? -1
                 : strcmp(format, "bundle") == 0
                     ? bundle_write(arguments->positionals[0], reader, &options, &error)
                     : export_run(format, reader, &options, &error);
    night_reader_close(reader);
    if (options.progress) {
        show_percent(NULL, 100);
    }
    return result == 0 ? EXIT_CODE_SUCCESS : options_fail("export", &error);
}

static const struct option_spec options[] = {
    {"format", "csv|json|senml|webvtt|mseed|bundle", true,
     "csv, senml, mseed: every sample; json: the findings; webvtt: captions; bundle: all"},
    {"out", "PATH", false,
     "what to make; standard output where not told; a bundle: a folder, or FILE.tar"},
    {"force", NULL, false, "replace what is there already"},
    {"from", "T", false, "from this time on (RFC 3339, or seconds since 1970)"},
    {"to", "T", false, "up to this time"},
    {"node", "ID", false, "samples of this node only (may be given again)"},
    {"channel", "NAME", false, "samples of this channel only (may be given again)"},
    {"for", "RECORDING", false,
     "webvtt: in the own time of a recording (or of the film of its sound) that was lined up"},
    {"per-second", NULL, false, "csv: least, mean and most of each second, not every sample"},
    CHOOSE_OPTION,
    {0},
};

const struct command command_export = {
    .name = "export",
    .positional = "NIGHT",
    .summary = "the findings or the samples of a night, for others to check",
    .options = options,
    .run = run_command,
};
