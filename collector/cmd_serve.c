/* roomwake serve: the page over a finished night.
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
        page_serve_night(arguments->positionals[0], &settings, &error) != 0) {
        return options_fail("serve", &error);
    }
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"http", "ADDR:PORT", true,
     "where to show it; beyond this machine a pairing code is asked for"},
    {"http-pair", NULL, false, "ask for the pairing code on this machine too"},
    {"http-cert", "FILE", false, "a certificate (PEM): the page then speaks TLS"},
    {"http-key", "FILE", false, "its private key (PEM)"},
    {0},
};

const struct command command_serve = {
    .name = "serve",
    .positional = "NIGHT",
    .summary = "the page over a finished night",
    .options = options,
    .run = run_command,
};
