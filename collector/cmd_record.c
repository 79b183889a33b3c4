/* roomwake record: run the base station for a night.
 * Must never hold more than options and one call. Called by main.c. */
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>

#include "collector/commands.h"
#include "collector/enrol/addresses.h"
#include "collector/options_page.h"
#include "collector/options_station.h"
#include "collector/record/session.h"
#include "collector/screen.h"
#include "common/clock.h"
#include "common/timefmt.h"

#define HOST_SIZE 64
/* The queue to the writer grows and shrinks all night; what it gives back is kept up to this much,
 * not handed to the system and fetched again page by page. */
#define KEPT_BYTES (8 << 20)
#define DEFAULT_LISTEN "127.0.0.1:1883"
#define DEFAULT_TIME "127.0.0.1:12300"

static const char *value_or(const struct arguments *arguments, const char *name,
                            const char *fallback)
{
    const char *value = options_value(arguments, name);
    return value ? value : fallback;
}

/* Whose broker, and who gets into it where it is our own. */
static int read_broker(const struct arguments *arguments, struct session_settings *settings,
                       char listen_host[HOST_SIZE], struct error *error)
{
    bool theirs = options_value(arguments, "broker") != NULL;
    if (theirs && options_value(arguments, "listen")) {
        return error_set(error, ERROR_USAGE, "--listen: not together with --broker");
    }
    if (options_parse_address(value_or(arguments, "listen", DEFAULT_LISTEN), "listen", listen_host,
                              HOST_SIZE, &settings->listen_port, error) != 0) {
        return -1;
    }
    bool open = options_value(arguments, "open-broker") != NULL;
    bool enrolled_only = options_value(arguments, "enrolled-only") != NULL;
    if ((open && enrolled_only) || ((open || enrolled_only) && theirs)) {
        return error_set(error, ERROR_USAGE,
                         "--open-broker, --enrolled-only: one of them, and not with --broker");
    }
    settings->enrolled_only = enrolled_only || (!open && !addresses_is_loopback(listen_host));
    return 0;
}

static int record(const struct arguments *arguments, const struct site *site, const char *site_text,
                  struct session_result *result, struct error *error)
{
    struct session_settings settings = {.site = site, .site_text = site_text};
    struct clock_skew skew;
    char listen_host[HOST_SIZE];
    char time_host[HOST_SIZE];
    char http_host[OPTIONS_PAGE_HOST_SIZE];
    struct page_settings page;
    char *broker = NULL;
    char *certificate = NULL;
    char *key = NULL;
    if (clock_from_environment(&skew, &settings.clock, error) != 0 ||
        read_broker(arguments, &settings, listen_host, error) != 0 ||
        options_parse_address(value_or(arguments, "time", DEFAULT_TIME), "time", time_host,
                              sizeof time_host, &settings.time_port, error) != 0 ||
        options_page(arguments, http_host, &page, error) != 0 ||
        page_load_tls(&page, &certificate, &key, error) != 0) {
        return -1;
    }
    settings.http_host = page.host;
    settings.http_port = page.port;
    settings.http_pair = page.pair_always;
    settings.http_certificate = certificate;
    settings.http_key = key;
    settings.night_path = options_value(arguments, "night");
    settings.on_alert = options_value(arguments, "on-alert");
    settings.listen_host = listen_host;
    settings.time_host = time_host;
    int outcome = options_broker(arguments, &broker, error);
    settings.broker_url = broker;
    outcome = outcome == 0 ? session_run(&settings, result, error) : outcome;
    free(broker);
    free(certificate);
    free(key);
    return outcome;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    char *text = NULL;
    if (site_load(options_value(arguments, "site"), &site, &text, &error) != 0) {
        return options_fail("record", &error);
    }
    (void)mallopt(M_TRIM_THRESHOLD, KEPT_BYTES);
    (void)mallopt(M_MMAP_THRESHOLD, KEPT_BYTES);
    struct session_result result;
    int outcome = record(arguments, site, text, &result, &error);
    free(text);
    site_free(site);
    if (outcome != 0) {
        return options_fail("record", &error);
    }
    char length[TIMEFMT_SIZE];
    timefmt_duration(result.end_ns - result.start_ns, length);
    printf("The night is closed: %llu samples over %s, ", (unsigned long long)result.samples,
           length);
    screen_print_counts(&result.findings);
    screen_print_root("sealed", result.root);
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    OPTIONS_STATION_SITE_ROW,
    {"night", "FILE", true, "the night file to make (or to continue, if its recorder died)"},
    {"broker", "URL", false,
     "mqtt[s]://[USER:PASSWORD@]HOST[:PORT][?authority=FILE]; an address with a password is better "
     "kept in a file that only you may read: @FILE; without any, a broker of its own"},
    {"listen", "ADDR:PORT", false, "where its own broker listens (default " DEFAULT_LISTEN ")"},
    {"enrolled-only", NULL, false,
     "its own broker speaks TLS and takes enrolled nodes alone (so it is beyond this machine "
     "anyway)"},
    {"open-broker", NULL, false, "its own broker is open to anybody, beyond this machine too"},
    {"time", "ADDR:PORT", false, "where the time server listens, UDP (default " DEFAULT_TIME ")"},
    OPTIONS_PAGE_ROWS(false),
    {"on-alert", "CMD", false, "a shell command for each alert, its JSON on standard input"},
    {0},
};

const struct command command_record = {
    .name = "record",
    .summary = "run the base station for a night",
    .options = options,
    .run = run_command,
};
