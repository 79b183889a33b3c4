/* roomwake serve: the page over a finished night.
 * Must never hold more than options and one call. Called by main.c. */
#include <stddef.h>

#include "collector/commands.h"
#include "collector/options_page.h"

static int run_command(const struct arguments *arguments)
{
    struct error error;
    char host[OPTIONS_PAGE_HOST_SIZE];
    struct page_settings settings;
    if (options_page(arguments, host, &settings, &error) != 0 ||
        page_serve_night(arguments->positionals[0], &settings, &error) != 0) {
        return options_fail("serve", &error);
    }
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    OPTIONS_PAGE_ROWS(true),
    {0},
};

const struct command command_serve = {
    .name = "serve",
    .positional = "NIGHT",
    .summary = "the page over a finished night",
    .options = options,
    .run = run_command,
};
