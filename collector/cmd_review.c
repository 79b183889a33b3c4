/* roomwake review: the night in words, on a terminal.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>

#include "collector/choose.h"
#include "collector/commands.h"
#include "collector/export/review.h"
#include "collector/options.h"

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct night_reader *reader = NULL;
    if (night_reader_open_damaged(arguments->positionals[0], &reader, &error) != 0) {
        return options_fail("review", &error);
    }
    int result = choose_analysis(arguments, reader, &error);
    if (result == 0) {
        result = review_write(reader, stdout, &error);
    }
    night_reader_close(reader);
    return result == 0 ? EXIT_CODE_SUCCESS : options_fail("review", &error);
}

static const struct option_spec options[] = {CHOOSE_OPTION, {0}};

const struct command command_review = {
    .name = "review",
    .positional = "NIGHT",
    .summary = "the night in words, on a terminal",
    .options = options,
    .run = run_command,
};
