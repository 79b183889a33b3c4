/* roomwake export: the findings or the samples of a night, for others to check.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/export/exporter.h"
#include "collector/options.h"
#include "common/timefmt.h"

/* A time as RFC 3339 or as seconds since 1970. */
static int read_time(const struct arguments *arguments, const char *option, int64_t *time_ns,
                     struct error *error)
{
    const char *text = options_value(arguments, option);
    struct error ignored;
    if (!text || timefmt_parse_rfc3339(text, strlen(text), time_ns, &ignored) == 0 ||
        timefmt_parse_seconds(text, strlen(text), time_ns, &ignored) == 0) {
        return 0;
    }
    return error_set(error, ERROR_USAGE, "--%s: \"%s\" is neither RFC 3339 nor seconds since 1970",
                     option, text);
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct night_reader *reader = NULL;
    struct export_options options = {.from_ns = INT64_MIN,
                                     .to_ns = INT64_MAX,
                                     .path = options_value(arguments, "out"),
                                     .out = stdout};
    if (read_time(arguments, "from", &options.from_ns, &error) != 0 ||
        read_time(arguments, "to", &options.to_ns, &error) != 0 ||
        night_reader_open(arguments->positionals[0], &reader, &error) != 0) {
        return options_fail("export", &error);
    }
    int result = export_run(options_value(arguments, "format"), reader, &options, &error);
    night_reader_close(reader);
    return result == 0 ? EXIT_CODE_SUCCESS : options_fail("export", &error);
}

static const struct option_spec options[] = {
    {"format", "json|csv", true, "json: the findings; csv: every sample, importable again"},
    {"from", "T", false, "from this time on (RFC 3339, or seconds since 1970)"},
    {"to", "T", false, "up to this time"},
    {"out", "PATH", false, "the file to make; standard output where not told"},
    {0},
};

const struct command command_export = {
    .name = "export",
    .positional = "NIGHT",
    .summary = "the findings or the samples of a night, for others to check",
    .options = options,
    .run = run_command,
};
