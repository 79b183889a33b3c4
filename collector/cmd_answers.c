/* roomwake answers: what came of the night's question sessions.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>

#include "collector/commands.h"
#include "collector/export/answers_night.h"
#include "collector/options.h"

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct night_reader *reader = NULL;
    if (night_reader_open(arguments->positionals[0], &reader, &error) != 0) {
        return options_fail("answers", &error);
    }
    int result = answers_night_write(reader, options_value(arguments, "session"), stdout, &error);
    night_reader_close(reader);
    return result == 0 ? EXIT_CODE_SUCCESS : options_fail("answers", &error);
}

static const struct option_spec options[] = {
    {"session", "ID", false, "only this session"},
    {0},
};

const struct command command_answers = {
    .name = "answers",
    .positional = "NIGHT",
    .summary = "what came of the night's question sessions",
    .options = options,
    .run = run_command,
};
