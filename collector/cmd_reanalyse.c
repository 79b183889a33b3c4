/* roomwake reanalyse: detection and correlation again over the stored samples.
 * Must never hold more than options and one call. Called by main.c. */
#include <stdio.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/night/reader.h"
#include "collector/options.h"
#include "collector/record/analyse.h"
#include "collector/screen.h"
#include "common/site.h"

#define KEY_SIZE 64
#define WHY_SIZE 512

static int apply_settings(const struct arguments *arguments, struct site *site, char why[WHY_SIZE],
                          struct error *error)
{
    size_t used = (size_t)snprintf(why, WHY_SIZE, "reanalyse%s",
                                   options_value(arguments, "refit") ? " --refit" : "");
    for (size_t i = 0; i < arguments->option_count; i++) {
        if (strcmp(arguments->options[i].spec->name, "set") != 0) {
            continue;
        }
        const char *setting = arguments->options[i].value;
        const char *equals = strchr(setting, '=');
        size_t length = equals ? (size_t)(equals - setting) : 0;
        if (length == 0 || length >= KEY_SIZE) {
            return error_set(error, ERROR_USAGE, "--set %s: is no KEY=VALUE", setting);
        }
        char key[KEY_SIZE];
        memcpy(key, setting, length);
        key[length] = '\0';
        if (site_set(site, key, equals + 1, error) != 0) {
            error->code = ERROR_USAGE;
            return error_wrap(error, "--set %s", setting);
        }
        if (used < WHY_SIZE) {
            used += (size_t)snprintf(why + used, WHY_SIZE - used, " --set %s", setting);
        }
    }
    return 0;
}

static int load_site(const char *path, struct site **site, struct error *error)
{
    struct night_reader *reader = NULL;
    if (night_reader_open(path, &reader, error) != 0) {
        return -1;
    }
    int result = night_read_site(reader, 1, site, error);
    night_reader_close(reader);
    return result;
}

static void print_clock(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                        const char *text)
{
    const struct site *site = context;
    (void)time_ns;
    if (strcmp(quantity, "clock") == 0) {
        printf("clock %s: %s\n", site->nodes[node].id, text);
    }
}

static int analyse(const struct arguments *arguments, struct site *site, const char *why,
                   struct findings_counts *counts, int *analysis, struct error *error)
{
    const char *path = arguments->positionals[0];
    struct findings_hooks hooks = screen_hooks();
    if (!options_value(arguments, "refit")) {
        return analyse_night(path, site, why, &hooks, counts, analysis, error);
    }
    hooks.context = site;
    hooks.noticed = print_clock;
    return analyse_night_refitted(path, site, why, &hooks, counts, analysis, error);
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    char why[WHY_SIZE];
    const char *path = arguments->positionals[0];
    if (load_site(path, &site, &error) != 0) {
        return options_fail("reanalyse", &error);
    }
    struct findings_counts counts;
    int analysis = 0;
    int result = apply_settings(arguments, site, why, &error);
    if (result == 0) {
        result = analyse(arguments, site, why, &counts, &analysis, &error);
    }
    site_free(site);
    if (result != 0) {
        return options_fail("reanalyse", &error);
    }
    printf("analysis %d: ", analysis);
    screen_print_counts(&counts);
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"set", "KEY=VALUE", false, "another value for a number of the site file; may be repeated"},
    {"refit", NULL, false, "fit the nodes' clocks again from the whole night first"},
    {0},
};

const struct command command_reanalyse = {
    .name = "reanalyse",
    .positional = "NIGHT",
    .summary = "run detection and correlation again over the stored samples",
    .options = options,
    .run = run_command,
};
