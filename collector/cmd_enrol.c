/* roomwake enrol: take a node into the site, or out of it again.
 * Must never show a password where it was not asked for. Called by main.c. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "collector/commands.h"
#include "collector/enrol/addresses.h"
#include "collector/enrol/enrol.h"
#include "collector/enrol/qr.h"
#include "collector/options.h"
#include "common/mqtt_uv.h"
#include "common/small_file.h"

#define DEFAULT_TIME_PORT 12300
#define PATH_SIZE 1024
#define DRIVERS_MAX ((size_t)256 * 1024)

struct where {
    char host[JOIN_HOST_SIZE];
    int port;
    char time_host[JOIN_HOST_SIZE];
    int time_port;
};

/* --broker; without it the one address that this machine has, or itself alone. */
static int find_broker(const struct arguments *arguments, struct where *where, struct error *error)
{
    const char *url = options_value(arguments, "broker");
    where->port = ENROL_PORT;
    if (!url) {
        if (!addresses_only_one(where->host, sizeof where->host)) {
            (void)snprintf(where->host, sizeof where->host, "127.0.0.1");
            fprintf(stderr,
                    "roomwake enrol: this machine has no address on a network, or several: the "
                    "node is told 127.0.0.1; say --broker mqtts://ADDRESS for another\n");
        }
        return 0;
    }
    struct mqtt_config config = {0};
    char *storage = NULL;
    if (mqtt_url_parse(url, &config, &storage, error) != 0) {
        error->code = ERROR_USAGE;
        return -1;
    }
    int result = 0;
    if (!config.tls || config.username || strlen(config.host) >= sizeof where->host) {
        result = error_set(error, ERROR_USAGE, "--broker: must be mqtts://HOST[:PORT], no user");
    } else {
        (void)snprintf(where->host, sizeof where->host, "%s", config.host);
        where->port = config.port;
    }
    free(storage);
    return result;
}

static int find_time(const struct arguments *arguments, struct where *where, struct error *error)
{
    const char *text = options_value(arguments, "time");
    if (text) {
        return options_parse_address(text, "time", where->time_host, sizeof where->time_host,
                                     &where->time_port, error);
    }
    memcpy(where->time_host, where->host, sizeof where->time_host);
    where->time_port = DEFAULT_TIME_PORT;
    return 0;
}

static int read_drivers(const char *path, char **text, struct error *error)
{
    size_t length = 0;
    *text = NULL;
    return path ? small_file_read(path, DRIVERS_MAX, text, &length, error) : 0;
}

static int say_node(const struct arguments *arguments, const struct enrol_result *result,
                    const char *path, struct error *error)
{
    struct text line = {0};
    printf("%s is enrolled in site %s%s.\n", result->code.node, result->code.site,
           result->replaced ? " again: what it was given before is void" : "");
    printf("Its config: %s (holds its password: only its owner may read it).\n", path);
    printf("Copy that to the node, or run there:\n\n  roomwake-node --config FILE --join '");
    int outcome = join_code_write(&result->code, &line, error);
    if (outcome == 0) {
        printf("%s'\n\n", line.bytes);
    }
    if (outcome == 0 && options_value(arguments, "qr")) {
        outcome = qr_print(line.bytes, stdout, error);
    }
    text_free(&line);
    printf("A home-made node logs in as %s with the password in that config, and believes\n"
           "%s/authority.pem.\n",
           result->code.node, result->folder);
    return outcome;
}

static int enrol_one_node(const struct arguments *arguments, const struct enrol_request *request,
                          struct error *error)
{
    char path[PATH_SIZE];
    char *drivers = NULL;
    struct enrol_result result;
    const char *out = options_value(arguments, "out");
    (void)snprintf(path, sizeof path, "%s%s", out ? out : request->node, out ? "" : ".json");
    if (read_drivers(options_value(arguments, "drivers"), &drivers, error) != 0) {
        return -1;
    }
    int outcome = -1;
    if (!options_value(arguments, "force") && access(path, F_OK) == 0) {
        (void)error_set(error, ERROR_BUSY,
                        "%s: is there already; --force replaces it, and makes a new password",
                        path);
    } else if (enrol_node(request, &result, error) == 0) {
        outcome = enrol_write_config(&result.code, drivers, path, true, error);
        if (outcome == 0) {
            outcome = say_node(arguments, &result, path, error);
        }
        enrol_result_free(&result);
    }
    free(drivers);
    return outcome;
}

static int enrol_one_reader(const struct enrol_request *request, struct error *error)
{
    struct enrol_result result;
    if (enrol_reader(request, &result, error) != 0) {
        return -1;
    }
    printf("reader.%s may read the alerts of site %s, and nothing else%s:\n\n"
           "  mosquitto_sub -h %s -p %d --cafile %s/authority.pem -u reader.%s -P %s \\\n"
           "    -t roomwake/%s/alert\n",
           request->node, result.code.site, result.replaced ? " (an older password is void)" : "",
           result.code.host, result.code.port, result.folder, request->node, result.code.password,
           result.code.site);
    enrol_result_free(&result);
    return 0;
}

static int take_out(const struct site *site, const char *name, bool reader, struct error *error)
{
    if (enrol_revoke(site, name, reader, error) != 0) {
        return -1;
    }
    printf("%s%s is enrolled in site %s no more. A base station that is recording here lets go of "
           "it at once.\n",
           reader ? "reader." : "", name, site->id);
    return 0;
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct site *site = NULL;
    struct where where;
    const char *name = arguments->positionals[0];
    bool reader = options_value(arguments, "reader") != NULL;
    if (site_load(options_value(arguments, "site"), &site, NULL, &error) != 0) {
        return options_fail("enrol", &error);
    }
    int outcome = -1;
    if (options_value(arguments, "revoke")) {
        outcome = take_out(site, name, reader, &error);
    } else if (find_broker(arguments, &where, &error) == 0 &&
               find_time(arguments, &where, &error) == 0) {
        const struct enrol_request request = {.site = site,
                                              .node = name,
                                              .host = where.host,
                                              .port = where.port,
                                              .time_host = where.time_host,
                                              .time_port = where.time_port};
        outcome = reader ? enrol_one_reader(&request, &error)
                         : enrol_one_node(arguments, &request, &error);
    }
    site_free(site);
    return outcome == 0 ? EXIT_CODE_SUCCESS : options_fail("enrol", &error);
}

static const struct option_spec options[] = {
    {"site", "FILE", true, "the site file, which names the node"},
    {"broker", "URL", false,
     "mqtts://HOST[:PORT]: where the node finds the base station (default: this machine's "
     "address)"},
    {"time", "HOST:PORT", false,
     "where it finds the time server (default: the broker's host, 12300)"},
    {"drivers", "FILE", false, "its sensors: the list for \"drivers\" in its config (JSON)"},
    {"out", "FILE", false, "its config (default NODE.json)"},
    {"force", NULL, false, "replace a config that is there already"},
    {"qr", NULL, false, "show its code for a telephone to read, too"},
    {"reader", NULL, false, "NODE is no node but somebody who may read the alerts, nothing else"},
    {"revoke", NULL, false, "take it out again: its password is void at once"},
    {0},
};

const struct command command_enrol = {
    .name = "enrol",
    .positional = "NODE",
    .summary = "take a node into the site: its password, its config, a line to carry them over",
    .options = options,
    .run = run_command,
};
