/* roomwake compare: several nights in the same building, side by side.
 * Must never hold more than options and two calls. Called by main.c. */
#include <stdio.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/compare_say.h"

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct compare_book *book = NULL;
    int result =
        compare_book_read(arguments->positionals, arguments->positional_count, &book, &error);
    if (result == 0) {
        result = compare_say(book, stdout, &error);
    }
    compare_book_free(book);
    return result == 0 ? EXIT_CODE_SUCCESS : options_fail("compare", &error);
}

static const struct option_spec options[] = {{0}};

const struct command command_compare = {
    .name = "compare",
    .positional = "NIGHT NIGHT...",
    .summary =
        "several nights in one building: rates, repeats by the clock, rooms, appliances, chance",
    .options = options,
    .run = run_command,
};
