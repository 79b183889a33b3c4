/* roomwake plan: draw the rooms and place the nodes, in a browser.
 * Must never hold more than options and one call. Called by main.c. */
#include <stddef.h>

#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/page.h"

#define HOST_SIZE 64

static int run_command(const struct arguments *arguments)
{
    struct error error;
    char host[HOST_SIZE];
    struct page_settings settings = {.host = host,
                                     .certificate_path = options_value(arguments, "http-cert"),
                                     .key_path = options_value(arguments, "http-key"),
                                     .pair_always = options_value(arguments, "http-pair") != NULL};
    if (options_parse_address(options_value(arguments, "http"), "http", host, sizeof host,
                              &settings.port, &error) != 0 ||
        page_draw_plan(options_value(arguments, "site"), &settings, &error) != 0) {
        return options_fail("plan", &error);
    }
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"site", "FILE", true, "the site file to draw; it is made where it is not there yet"},
    {"http", "ADDR:PORT", true,
     "where to show it; beyond this machine a pairing code is asked for"},
    {"http-pair", NULL, false, "ask for the pairing code on this machine too"},
    {"http-cert", "FILE", false, "a certificate (PEM): the page then speaks TLS"},
    {"http-key", "FILE", false, "its private key (PEM)"},
    {0},
};

const struct command command_plan = {
    .name = "plan",
    .summary = "draw the rooms and place the nodes, in a browser",
    .options = options,
    .run = run_command,
};
