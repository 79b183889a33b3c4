/* roomwake plan: draw the rooms and place the nodes, in a browser.
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
        page_draw_plan(options_value(arguments, "site"), &settings, &error) != 0) {
        return options_fail("plan", &error);
    }
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"site", "FILE", true, "the site file to draw; it is made where it is not there yet"},
    OPTIONS_PAGE_ROWS(true),
    {0},
};

const struct command command_plan = {
    .name = "plan",
    .summary = "draw the rooms and place the nodes, in a browser",
    .options = options,
    .run = run_command,
};
