/* roomwake report: the night as one page for strangers who doubt.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "collector/choose.h"
#include "collector/commands.h"
#include "collector/export/report.h"
#include "collector/export/whole.h"
#include "collector/options.h"
#include "collector/stop_signal.h"

static void show_percent(void *context, int percent)
{
    (void)context;
    fprintf(stderr, percent < 100 ? "\r%3d %%" : "\r     \r", percent);
}

static int write_page(const struct arguments *arguments, const struct export_options *options,
                      struct error *error)
{
    const char *night = arguments->positionals[0];
    struct night_reader *reader = NULL;
    struct whole whole;
    const char *slash = strrchr(night, '/');
    if (night_reader_open(night, &reader, error) != 0) {
        return -1;
    }
    if (choose_analysis(arguments, reader, error) != 0) {
        night_reader_close(reader);
        return -1;
    }
    int result = whole_open(&whole, options->path, options->replace, error);
    if (result == 0) {
        result = report_write(reader, slash ? slash + 1 : night, options, whole.out, error);
        if (result == 0) {
            result = whole_close(&whole, error);
        } else {
            whole_abandon(&whole);
        }
    }
    night_reader_close(reader);
    return result;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct export_options options = EXPORT_ALL;
    options.path = options_value(arguments, "out");
    options.replace = options_value(arguments, "force") != NULL;
    options.stop = stop_signal_watch();
    options.progress = isatty(STDERR_FILENO) ? show_percent : NULL;
    int result = write_page(arguments, &options, &error);
    if (options.progress) {
        show_percent(NULL, 100);
    }
    return result == 0 ? EXIT_CODE_SUCCESS : options_fail("report", &error);
}

static const struct option_spec options[] = {
    {"out", "FILE.html", true, "the page to make: one file, no script, prints well"},
    {"force", NULL, false, "replace what is there already"},
    CHOOSE_OPTION,
    {0},
};

const struct command command_report = {
    .name = "report",
    .positional = "NIGHT",
    .summary = "the night as one page, with figures, for strangers who doubt",
    .options = options,
    .run = run_command,
};
